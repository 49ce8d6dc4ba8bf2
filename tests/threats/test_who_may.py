"""Role by route by own and other's: every cell is asked for, and a route without a rule fails."""

import pytest

from server.app import create_app
from server.settings import Settings
from tests.threats.route_rules import DOORS, FORMS, RULES, Rule
from tests.threats.world import Person, World

pytestmark = pytest.mark.xdist_group("who may")


def by_path(name: str) -> tuple[str, str]:
    method, path = name.split(" ", 1)
    return path, method


def test_every_route_has_a_rule(sqlite_settings: Settings) -> None:
    app = create_app(sqlite_settings)
    there = {
        f"{method} {route.path}"  # type: ignore[attr-defined]
        for route in app.router.routes
        for method in getattr(route, "methods", None) or ()
        if method not in {"HEAD", "OPTIONS"}
    }
    app.state.resources.engine.dispose()
    missing = sorted(there - set(RULES), key=by_path)
    told = "\n".join(f'    "{name}": …,' for name in missing)
    assert not missing, (
        "who may reach these? Add a line for each to RULES in tests/threats/route_rules.py, where "
        f"the rules to pick from stand:\n{told}"
    )
    gone = sorted(set(RULES) - there, key=by_path)
    assert not gone, f"rules without a route in tests/threats/route_rules.py: {gone}"


def test_the_rules_are_sorted_by_path() -> None:
    names = list(RULES)
    assert names == sorted(names, key=by_path)


@pytest.mark.parametrize("name", RULES, ids=lambda name: name.replace(" ", "_"))
def test_only_those_get_through_who_may(world: World, name: str) -> None:
    method, path = name.split(" ", 1)
    wrong = []
    for door in DOORS:
        asker = world.people[door]
        for whose, owner in (("own", asker), ("other's", world.other)):
            if whose == "own" and not is_owner(world, path, asker):
                continue
            address, is_known = world.address(path, owner=owner)
            answer = world.ask(method, address, asker=asker, form=FORMS.get(name, {}))
            may = door in allowed(RULES[name], whose)
            fault = fault_of(method, answer, may=may, is_known=is_known)
            if fault:
                wrong.append(f"{door}, {whose}: {fault} ({answer.status_code} at {address})")
            if method != "GET":
                world.put_back()
    assert not wrong, f"{name} against its rule in tests/threats/route_rules.py:\n" + "\n".join(
        wrong
    )


def allowed(rule: Rule, whose: str) -> frozenset[str]:
    return rule.own if whose == "own" else rule.other


def is_owner(world: World, path: str, asker: Person) -> bool:
    """Whether the asker has a thing of their own at this address."""
    mine, _ = world.address(path, owner=asker)
    theirs, _ = world.address(path, owner=world.other)
    nothing, _ = world.address(path, owner=Person("nobody"))
    return mine not in (theirs, nothing)


def fault_of(method: str, answer: object, *, may: bool, is_known: bool) -> str | None:
    status: int = answer.status_code  # type: ignore[attr-defined]
    if status >= 500:
        return "the server failed"
    to_sign_in = status == 303 and answer.headers["location"].startswith("/sign-in?")  # type: ignore[attr-defined]
    refused = status in (401, 403, 404) or to_sign_in
    if not may:
        return None if refused else "let in, but may not"
    if status == 404 and not is_known:
        return None
    if refused:
        return "refused, but may"
    # A form without its fields is told so; what is only read must be there.
    if method == "GET" and is_known and status not in (200, 301, 302, 303, 307, 308, 422):
        return "let in, but nothing was shown"
    return None
