"""The desk through the parser, without scripts: from a waiting run to what its tester sees."""

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.pages.send_fields import APPLIANCE, KIND, PLATE, RIG, RUN, SPECIMEN
from tests.pages.desk_samples import fields_of, opened, send_waiting, signed
from tests.pages.reading import parsed, problems_of, text_of


@pytest.fixture
def maintainer(app: FastAPI) -> TestClient:
    return signed(app, "Bo Finch", "send", "maintain")


@pytest.fixture
def tester(app: FastAPI) -> TestClient:
    return signed(app, "Ola Brandt")


def test_an_empty_desk_says_what_would_stand_there(maintainer: TestClient) -> None:
    assert "Nothing waits" in text_of(opened(maintainer, "/desk"))
    assert maintainer.get("/desk/next").url.path == "/desk"


def test_only_maintainers_see_the_desk(app: FastAPI, tester: TestClient) -> None:
    run = send_waiting(app)
    for path in ("/desk", f"/desk/runs/{run}", "/desk/next"):
        assert tester.get(path).status_code == 403
        stranger = TestClient(app, base_url="http://ledger.test", follow_redirects=False)
        assert stranger.get(path).headers["location"].startswith("/sign-in")


def test_a_waiting_run_is_published(app: FastAPI, maintainer: TestClient) -> None:
    run = send_waiting(app, model="New 1")
    queue = opened(maintainer, "/desk")
    assert "The first run of its appliance" in text_of(queue, ".queue")
    link = queue.select_one("[data-case]")
    assert link is not None
    path = str(link["href"])
    case = opened(maintainer, path)
    assert "Millbeck New 1" in text_of(case, "h1")
    answer = maintainer.post(f"{path}/publish", data=fields_of(case, f"{path}/publish"))
    assert answer.url.path == "/desk"
    assert "the run is published" in text_of(parsed(answer.text))
    browser = TestClient(app, base_url="http://ledger.test")
    assert browser.get(f"/runs/{run}").status_code == 200


def test_a_return_reaches_its_tester_beside_the_field(
    app: FastAPI, maintainer: TestClient, tester: TestClient
) -> None:
    run = send_waiting(app)
    path = f"/desk/runs/{run}"
    page = opened(maintainer, path)
    # One line stands open; each next one is asked for.
    assert page.select_one("#text-1").find_parent("details") is None
    assert [len(page.select_one(f"#text-{n}").find_parents("details")) for n in (2, 6)] == [1, 5]
    assert page.select("form[aria-labelledby=return] details[open]") == []
    fields = fields_of(page, f"{path}/return")
    fields |= {
        "field-1": "plate.voltage", "text-1": "The plate in the picture says 230 V.",
        "field-2": "column.2.unit", "text-2": "Is it really N m?",
        "reason": "Two things to look at.",
    }  # fmt: skip
    answer = maintainer.post(f"{path}/return", data=fields)
    assert answer.status_code == 200, answer.text
    page = opened(tester, f"/runs/{run}")
    text = text_of(page)
    assert "Rating plate: Voltage" in text
    assert "The plate in the picture says 230 V." in text
    assert "“torque [N m]” (torque): unit" in text
    assert "Two things to look at." in text
    # What is asked of a tester is between them and the maintainers.
    stranger = TestClient(app, base_url="http://ledger.test")
    assert stranger.get(f"/runs/{run}").status_code == 404


def test_what_was_typed_is_kept_where_it_could_not_be_done(
    app: FastAPI, maintainer: TestClient
) -> None:
    run = send_waiting(app)
    path = f"/desk/runs/{run}"
    page = opened(maintainer, path)
    fields = fields_of(page, f"{path}/return")
    answer = maintainer.post(f"{path}/return", data=fields)
    assert answer.status_code == 422
    assert problems_of(answer.text) == []
    assert "A return needs a reason" in text_of(parsed(answer.text))
    other = signed(app, "Cy Reed", "maintain")
    stale = fields_of(opened(other, path), f"{path}/return")
    fields |= {"field-1": "rig.arm", "text-1": "Too long?"}
    assert maintainer.post(f"{path}/return", data=fields).status_code == 200
    late = other.post(f"{path}/return", data=stale | {"text-1": "Mine", "reason": "Also mine"})
    assert late.status_code == 409
    assert problems_of(late.text) == []
    soup = parsed(late.text)
    assert "run returned, by Bo Finch" in text_of(soup)
    assert "Returned, by Bo Finch" in text_of(soup)


def test_taking_a_run_is_said_to_the_others(app: FastAPI, maintainer: TestClient) -> None:
    run = send_waiting(app)
    path = f"/desk/runs/{run}"
    page = opened(maintainer, path)
    answer = maintainer.post(f"{path}/take", data=fields_of(page, f"{path}/take"))
    assert "Taken by you until" in text_of(parsed(answer.text))
    assert "Bo Finch" in text_of(opened(maintainer, "/desk?mine=yes"), ".queue")
    other = signed(app, "Cy Reed", "maintain")
    held = opened(other, path)
    assert "Bo Finch has it until" in text_of(held)
    assert held.select_one(f'form[action="{path}/publish"]') is None
    answer = other.post(f"{path}/take", data=fields_of(held, f"{path}/take"))
    assert "Taken by you until" in text_of(parsed(answer.text))
    back = fields_of(parsed(answer.text), f"{path}/give-back")
    assert "Take it for 30 minutes" in text_of(
        parsed(other.post(f"{path}/give-back", data=back).text)
    )


def test_a_slip_of_units_shows_beside_similar_runs(app: FastAPI, maintainer: TestClient) -> None:
    for number, tester in enumerate(("Ida Holm", "Pia Lund")):
        run = send_waiting(app, by=tester, scale=1.0 + 0.01 * number)
        path = f"/desk/runs/{run}"
        fields = fields_of(opened(maintainer, path), f"{path}/publish") | {"reason": "Sound."}
        assert maintainer.post(f"{path}/publish", data=fields).status_code == 200
    run = send_waiting(app, by="Odd Berg", torque_unit="lbf in")
    table = text_of(opened(maintainer, f"/desk/runs/{run}"), "[aria-labelledby=similar]")
    assert "far off" in table
    assert "3\xa0testers" in table


def test_ones_own_run_is_for_somebody_else(app: FastAPI) -> None:
    run = send_waiting(app, by="Bo Finch")
    own = signed(app, "Bo Finch", "send", "maintain")
    page = opened(own, f"/desk/runs/{run}")
    assert "This is your own" in text_of(page)
    assert page.select(f'form[action^="/desk/runs/{run}/"]') == []
    fields = fields_of(opened(own, "/"), "/sign-out") | {"version": "1", "reason": "fine"}
    assert own.post(f"/desk/runs/{run}/publish", data=fields).status_code == 403
    assert "not for you" in text_of(opened(own, "/desk"), ".queue")
    assert own.get("/desk/next").url.path == "/desk"


def test_filters_and_counts(app: FastAPI, maintainer: TestClient) -> None:
    send_waiting(app)
    send_waiting(app, model="New 2")
    page = opened(maintainer, "/desk")
    assert "2 open" in text_of(page)
    assert len(page.select(".queue tbody tr")) == 2
    only = opened(maintainer, "/desk?kind=first")
    assert len(only.select(".queue tbody tr")) == 1
    none = opened(maintainer, "/desk?category=blender")
    assert "Nothing on the desk fits" in text_of(none)
    assert opened(maintainer, "/desk?state=returned").select(".queue") == []
    assert maintainer.get("/desk?cursor=zzz").status_code == 422


def test_every_field_of_the_form_can_be_remarked_on() -> None:
    from server.actions.remark_fields import is_remark_field

    for field in (*APPLIANCE, *PLATE, *SPECIMEN, *RIG, KIND, *RUN):
        assert is_remark_field(field.name), field.name
    for name in ("claim.1.value", "instrument.2.of_reading", "column.3.unit", "file", "run"):
        assert is_remark_field(name)


def test_practice_says_why_and_stores_nothing(app: FastAPI, maintainer: TestClient) -> None:
    page = opened(maintainer, "/desk/practice")
    cases = [str(a["href"]) for a in page.select(".method-list a")]
    assert len(cases) >= 6
    for number, path in enumerate(cases):
        case = opened(maintainer, path)
        assert "unknown" not in text_of(case)
        assert "None" not in text_of(case)
        assert case.select_one("main form[method=post]") is None
        verdicts = [
            text_of(opened(maintainer, f"{path}?decision={button['value']}"), "#why")
            for button in case.select("main button[name=decision]")
        ]
        right = [one for one in verdicts if "so would an experienced maintainer" in one]
        assert 1 <= len(right) < len(verdicts), f"case {number}"
    assert maintainer.get("/desk/practice/none").status_code == 404
    assert maintainer.get(f"{cases[0]}?decision=sing").status_code == 200
