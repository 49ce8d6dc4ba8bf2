"""Requests that another site sends through a browser that is signed in, and requests sent again."""

import pytest

from server.sign_in import cookie_name
from tests.threats.route_rules import FORMS, RULES
from tests.threats.test_fuzz_by_role import others_things
from tests.threats.world import World

pytestmark = pytest.mark.xdist_group("who may")
FORMS_OF_PAGES = [name for name in RULES if not name.startswith("GET ") and "/api/" not in name]
WRITES_OF_API = [name for name in RULES if not name.startswith("GET ") and "/api/" in name]


def address_of(world: World, name: str, door: str) -> tuple[str, str]:
    method, path = name.split(" ", 1)
    return method, world.address(path, owner=world.people[door])[0]


@pytest.mark.parametrize("name", FORMS_OF_PAGES, ids=lambda name: name.replace(" ", "_"))
def test_no_form_is_taken_from_another_site(world: World, name: str) -> None:
    """With the cookie, and even with the form's token: the browser says where it came from."""
    asker = world.people["administrator"]
    method, address = address_of(world, name, "administrator")
    fields = {**FORMS.get(name, {}), "csrf_token": world.form_token(asker)}
    for origin in ({"Sec-Fetch-Site": "cross-site"}, {"Origin": "https://other.example"}):
        answer = world.client.request(
            method,
            address,
            data=fields,
            headers={"Cookie": f"{cookie_name(world.app.state.settings)}={asker.cookie}", **origin},
        )
        assert 400 <= answer.status_code < 500, f"{answer.status_code} {origin}"


@pytest.mark.parametrize("name", FORMS_OF_PAGES, ids=lambda name: name.replace(" ", "_"))
def test_no_form_is_taken_without_its_token(world: World, name: str) -> None:
    """Nothing is done for somebody who is signed in; what is open to all asks nobody's session."""
    asker = world.people["administrator"]
    method, address = address_of(world, name, "administrator")
    before = others_things(world)
    headers = {
        "Cookie": f"{cookie_name(world.app.state.settings)}={asker.cookie}",
        "Sec-Fetch-Site": "same-origin",
    }
    answer = world.client.request(
        method, address, data={**FORMS.get(name, {}), "csrf_token": "A" * 88}, headers=headers
    )
    is_open = "none" in RULES[name].other
    assert is_open or 400 <= answer.status_code < 500, answer.status_code
    assert others_things(world) == before


@pytest.mark.parametrize("name", WRITES_OF_API, ids=lambda name: name.replace(" ", "_"))
def test_the_api_writes_nothing_for_a_cookie(world: World, name: str) -> None:
    """A cookie comes by itself, whoever caused the request. What is open to all is nobody's act."""
    asker = world.people["administrator"]
    method, address = address_of(world, name, "administrator")
    answer = world.client.request(
        method,
        address,
        json=FORMS.get(name, {}),
        headers={
            "Cookie": f"{cookie_name(world.app.state.settings)}={asker.cookie}",
            "Sec-Fetch-Site": "same-origin",
        },
    )
    is_open = "none" in RULES[name].other
    assert is_open or answer.status_code in (401, 403), answer.status_code
    acts = world.acts_of("administrator")
    assert acts == [], f"done in the name of whoever is signed in: {acts}"
