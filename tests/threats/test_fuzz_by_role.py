"""Requests made of what is there and of nonsense, to every route, by somebody at each door.

Whatever is sent: no answer is a defect, nobody reads what is another's and private, and nobody who
may not moves a run or touches another's things. BENCHLEDGER_FUZZ_ROUNDS asks for more of them.
"""

import json
import os
import random
from typing import Any

import pytest
from sqlalchemy import select

from server.store import tables as t
from server.store.database import read_session
from tests.threats.route_rules import DOORS, RULES
from tests.threats.world import NOTHING, OTHERS_MARK, Person, World

pytestmark = pytest.mark.timeout(1200)

ROUNDS = int(os.environ.get("BENCHLEDGER_FUZZ_ROUNDS", "1"))
SEED = 20261126
WORDS = (
    "",
    " ",
    "0",
    "-1",
    "1e308",
    "NaN",
    "true",
    "null",
    "../../etc/passwd",
    "<script>alert(1)</script>",
    "{{7*7}}",
    "' OR 1=1 --",
    "=cmd|'/c calc'!A1",
    "%00",
    "\u202eevil",
    "𝕏" * 50,
    "a" * 3000,
    "10 lbf·in",
    "2026-11-26",
    "published",
    "administrator",
    "maintain",
    NOTHING,
)
FIELDS = (
    "act", "appliance", "category", "code", "confirm", "cursor", "decision", "email", "field",
    "find", "format", "into", "kind", "limit", "maker", "model", "name", "next", "note", "password",
    "plate.voltage", "q", "reason", "rig", "role", "rows", "run", "sort", "state", "step", "tester",
    "text", "to", "token", "version",
)  # fmt: skip


def test_no_defect_and_no_forbidden_success(world: World) -> None:
    rng = random.Random(SEED)
    n_requests = n_let_in = 0
    before = others_things(world)
    for round_ in range(ROUNDS):
        for name in RULES:
            method, path = name.split(" ", 1)
            for door in DOORS:
                asker = world.people[door]
                answer, asked = ask_anything(world, rng, method, path, asker)
                n_requests += 1
                n_let_in += answer.status_code < 400
                where = f"round {round_}, {door}: {answer.status_code} for {asked}"
                assert answer.status_code < 500, f"{where}\n{answer.text[:500]}"
                if door not in ("maintainer", "administrator"):
                    assert OTHERS_MARK not in answer.text, f"another's words are shown: {where}"
                    if method != "GET":
                        assert others_things(world) == before, f"another's thing moved: {where}"
                if method != "GET":
                    world.put_back()
    print(f"{n_requests} requests, {n_let_in} let in, no defect, no forbidden success")
    assert n_let_in > n_requests / 10


def ask_anything(
    world: World, rng: random.Random, method: str, path: str, asker: Person
) -> tuple[Any, str]:
    """One request about one's own thing, another's or none, with whatever fields."""
    owner = rng.choice((asker, world.other, world.other, Person("nobody")))
    address, _ = world.address(path, owner=owner)
    fields = {rng.choice(FIELDS): value(world, rng) for _ in range(rng.randint(0, 6))}
    if method == "GET":
        query = "&".join(f"{key}={quote(text)}" for key, text in fields.items())
        address += f"?{query}" if query and rng.random() < 0.7 else ""
        fields = {}
    answer = world.ask(method, address, asker=asker, form=fields)
    return answer, f"{method} {address} {json.dumps(fields)[:300]}"


def value(world: World, rng: random.Random) -> str:
    """A word of nonsense, or the id of something that is there."""
    if rng.random() < 0.3:
        ids = [*world.other.things.values(), *world.common.values()]
        return rng.choice(ids)
    return rng.choice(WORDS)


def quote(text: str) -> str:
    from urllib.parse import quote as quoted

    return quoted(text, safe="")


def others_things(world: World) -> dict[str, Any]:
    """What of the other tester must not change by anybody's hand but a maintainer's."""
    things = world.other.things
    with read_session(world.app.state.resources.engine) as session:
        run = session.execute(
            select(
                t.RunRow.state, t.RunRow.current_revision_id, t.RunRow.version, t.RunRow.tester_id
            ).where(t.RunRow.public_id == things["runs"])
        ).one()
        draft = session.execute(
            select(t.DraftRow.form, t.DraftRow.file_sha256).where(
                t.DraftRow.public_id == things["send"]
            )
        ).first()
        token = session.execute(
            select(t.ApiTokenRow.revoked_at).where(t.ApiTokenRow.public_id == things["tokens"])
        ).one()
        rigs = session.execute(
            select(t.RigRevisionRow.id)
            .join(t.RigRow, t.RigRow.id == t.RigRevisionRow.rig_id)
            .where(t.RigRow.public_id == things["rigs"])
        ).all()
        web = session.execute(
            select(t.WebSessionRow.tester_id).where(t.WebSessionRow.public_id == things["sign-ins"])
        ).first()
        account = session.execute(
            select(t.TesterRow.role, t.TesterRow.name, t.TesterRow.email).where(
                t.TesterRow.id == run.tester_id
            )
        ).one()
    found = {"run": run, "draft": draft, "token": token, "rigs": rigs, "web": web}
    return {**{name: repr(row) for name, row in found.items()}, "account": repr(account)}
