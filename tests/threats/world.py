"""A server with an account for each door, each with things of its own, and somebody else's."""

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.testclient import TestClient
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.actions import sign_in
from server.actions.issue_token import make_token
from server.actions.open_live_test import open_live_test
from server.actions.prepare_run import PreparedRun, prepare_run
from server.actions.reduce_log import limits_of
from server.actions.save_draft import save_draft
from server.actions.seal_journal import seal_journal
from server.actions.sign_journal import sign_journal
from server.actions.submit_run import submit_run
from server.actions.upload_in_pieces import begin_upload
from server.app import create_app
from server.intake import bench_from_mapping
from server.model.people import DRAFT, SCOPES_OF_ROLE, SEND, Role
from server.model.publishing import PublishingRule
from server.model.views import Tester
from server.pages.drafting import LINES
from server.settings import Settings
from server.sign_in import cookie_name, csrf_token
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.files import StoredUpload, keep_upload_from
from server.store.identity import new_public_id
from server.store.journal import OPERATOR, now
from tests.api.logs import BENCH, small_log

NOTHING = "0000000000"
OTHERS_MARK = "for-nobody-else-7q2k"
WAITS = PublishingRule(standing_runs=5, standing_days=180, look_share=0, first_run_waits=True)
ROLES = {
    "visitor": Role.VISITOR,
    "reader": Role.READER,
    "tester": Role.TESTER,
    "one factor": Role.MAINTAINER,
    "maintainer": Role.MAINTAINER,
    "administrator": Role.ADMINISTRATOR,
}
# What an address names that belongs to nobody; by the name in braces, else by the word before it.
COMMON = {"word": "not-found", "number": "1", "name": "shaft_power_max_steady", "step": "rig"}
COMMON_AFTER = {"methods": "load-line"}


@dataclass
class Person:
    """Somebody at the door: their cookie, token, and what is theirs, by the word in addresses."""

    door: str
    cookie: str | None = None
    token: str | None = None
    things: dict[str, str] = field(default_factory=dict)


@dataclass
class World:
    app: FastAPI
    client: TestClient
    people: dict[str, Person]
    other: Person
    common: dict[str, str]
    n_entries: int = 0

    def keep(self) -> None:
        copy_database(self._path, self._path.with_suffix(".kept"))

    def put_back(self) -> None:
        """The database as it was when the world was made."""
        copy_database(self._path.with_suffix(".kept"), self._path)

    @property
    def _path(self) -> Path:
        settings: Settings = self.app.state.settings
        return settings.data / "benchledger.sqlite3"

    def routes(self) -> list[tuple[str, str]]:
        """(method, path) of every route, HEAD left out: it is answered as GET."""
        found = []
        for route in self.app.router.routes:
            methods = getattr(route, "methods", None) or ()
            found += [(m, route.path) for m in methods if m not in {"HEAD", "OPTIONS"}]  # type: ignore[attr-defined]
        return sorted(found, key=lambda one: (one[1], one[0]))

    def address(self, path: str, *, owner: Person) -> tuple[str, bool]:
        """The path with ids of the owner's things put in; whether all of them were known."""
        parts, is_known = [], True
        for part in path.split("/"):
            if part.startswith("{"):
                name = part.strip("{}").split(":")[0]
                before = parts[-1] if parts else ""
                found = (
                    COMMON_AFTER.get(before)
                    or COMMON.get(name)
                    or owner.things.get(before)
                    or self.common.get(before)
                )
                is_known = is_known and found is not None
                part = found or NOTHING
            parts.append(part)
        return "/".join(parts), is_known

    def ask(self, method: str, address: str, *, asker: Person, form: dict[str, str]) -> Any:
        """One request with what the asker has: a token on the API, on pages cookie and form."""
        is_api = address.startswith("/api/")
        headers = {"Sec-Fetch-Site": "same-origin"}
        if is_api and asker.token is not None:
            headers["Authorization"] = f"Bearer {asker.token}"
        elif asker.cookie is not None:
            headers["Cookie"] = f"{cookie_name(self.app.state.settings)}={asker.cookie}"
        self.client.cookies.clear()
        if method == "GET":
            return self.client.get(address, headers=headers)
        if is_api:
            return self.client.request(method, address, headers=headers, json=form or {})
        fields = {"csrf_token": self.form_token(asker), **form}
        return self.client.request(method, address, headers=headers, data=fields)

    def acts_of(self, door: str) -> list[str]:
        """What the journal says that somebody did, since the world was made."""
        event, tester = t.AuditEventRow, t.TesterRow
        with read_session(self.app.state.resources.engine) as session:
            found = session.execute(
                select(event.act)
                .join(tester, tester.id == event.tester_id)
                .where(tester.name == f"Person {door}", event.id > self.n_entries)
            )
            return list(found.scalars())

    def form_token(self, asker: Person) -> str:
        cookie = f"{cookie_name(self.app.state.settings)}={asker.cookie or ''}"
        scope = {"type": "http", "headers": [(b"cookie", cookie.encode())], "app": self.app}
        return csrf_token(Request(scope))


def copy_database(source: Path, target: Path) -> None:
    with closing(sqlite3.connect(source)) as one, closing(sqlite3.connect(target)) as other:
        one.backup(other)


@contextmanager
def make_world(migrated: Path, data: Path) -> Iterator[World]:
    shutil.copy(migrated, data / "benchledger.sqlite3")
    settings = Settings(
        data=data, standing_runs=5, first_run_waits=True, look_share=0, kept_bytes=0
    )
    app = create_app(settings)
    log = data / "sent.csv"
    log.write_text(small_log())
    upload = keep_upload_from(settings.files, log, name="sent.csv")
    bench = bench_from_mapping(BENCH)
    prepared = prepare_run(
        upload.path,
        file_name=upload.name,
        bench=bench,
        limits=limits_of(settings),
    )
    sent = (upload, prepared)
    people = {door: _person(app, door, role, sent) for door, role in ROLES.items()}
    people["none"] = Person("none")
    other = _person(app, "other", Role.TESTER, marked(sent))
    with write_session(app.state.resources.engine) as session:
        seal_journal(session)
    with write_session(app.state.resources.engine) as session:
        sign_journal(session, data=data, at=now())
    with TestClient(app, follow_redirects=False, raise_server_exceptions=False) as client:
        world = World(app, client, people, other, _common(app))
        with read_session(app.state.resources.engine) as session:
            world.n_entries = session.execute(select(func.max(t.AuditEventRow.id))).scalar_one()
        world.keep()
        yield world
    app.state.resources.engine.dispose()


def marked(sent: tuple[StoredUpload, PreparedRun]) -> tuple[StoredUpload, PreparedRun]:
    """The same with words that nobody else may read, in the file's name and in the notes."""
    upload, prepared = sent
    run = replace(prepared.bench.run, notes=OTHERS_MARK)
    bench = replace(prepared.bench, run=run)
    return replace(upload, name=f"{OTHERS_MARK}.csv"), replace(prepared, bench=bench)


def _common(app: FastAPI) -> dict[str, str]:
    with write_session(app.state.resources.engine) as session:
        appliance = session.execute(select(t.ApplianceRow)).scalars().first()
        claim = session.execute(select(t.ClaimRow)).scalars().first()
        assert appliance is not None
        assert claim is not None
        return {
            "appliances": appliance.public_id,
            "claims": claim.public_id,
        }


def _person(app: FastAPI, door: str, role: Role, sent: tuple[StoredUpload, PreparedRun]) -> Person:
    upload, prepared = sent
    strong = door not in {"one factor"} and role in {Role.MAINTAINER, Role.ADMINISTRATOR}
    with write_session(app.state.resources.engine) as session:
        row = t.TesterRow(
            public_id=new_public_id(),
            name="" if role is Role.VISITOR else f"Person {door}",
            role=role.value,
            created_at=now(),
        )
        session.add(row)
        session.flush()
        key = sign_in.start_session(
            session, tester_id=row.id, hours=1, has_second_factor=strong, agent="matrix"
        )
        scopes = SCOPES_OF_ROLE[role] if strong else SCOPES_OF_ROLE[role] & {DRAFT, SEND}
        tester = Tester(row.id, row.public_id, row.name, frozenset(SCOPES_OF_ROLE[role]), role)
        person = Person(door, cookie=key)
        draft = save_draft(session, tester=tester, form={LINES: "400"}, upload=upload)
        person.things["send"] = draft.public_id
        begun = begin_upload(session, tester=tester, file_name="x", n_bytes=9, max_bytes=99)
        person.things["uploads"] = person.things["pieces"] = begun.public_id
        person.things["photos"] = _photo(session, tester, draft.public_id, upload)
        if role is Role.VISITOR:
            return person
        token = make_token(
            session, tester=tester, scopes=sorted(scopes), days=1, label="m", actor=OPERATOR
        )
        person.token = token.token
        person.things["tokens"] = token.public_id
        web = session.execute(
            select(t.WebSessionRow.public_id).where(t.WebSessionRow.tester_id == row.id)
        ).scalar_one()
        person.things["sign-ins"] = web
        if SEND not in SCOPES_OF_ROLE[role]:
            return person
        done = submit_run(
            session,
            prepared=prepared,
            upload=upload,
            bench=prepared.bench,
            tester=tester,
            rule=WAITS,
        )
        person.things["runs"] = done.public_id
        person.things["live"] = open_live_test(session, tester=tester, title=None).address
        owned = t.RigRow.owner_id == row.id
        person.things["rigs"] = session.execute(
            select(t.RigRow.public_id).where(owned)
        ).scalar_one()
        person.things["specimens"] = session.execute(
            select(t.SpecimenRow.public_id).where(t.SpecimenRow.owner_id == row.id)
        ).scalar_one()
    return person


def _photo(session: Session, tester: Tester, draft_id: str, upload: StoredUpload) -> str:
    """A photograph that is drawn already; whose it is matters here, not what it shows."""
    key = select(t.DraftRow.id).where(t.DraftRow.public_id == draft_id).scalar_subquery()
    photo = t.PhotoRow(
        public_id=new_public_id(), tester_id=tester.id, subject="plate", state="ready",
        draft_id=session.execute(select(key)).scalar_one(), file_sha256=upload.sha256,
        choices={}, created_at=now(), width=4, height=3,
    )  # fmt: skip
    session.add(photo)
    session.flush()
    return photo.public_id
