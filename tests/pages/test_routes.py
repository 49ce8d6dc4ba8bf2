"""Pages over HTTP, read and used without scripts: links, refusals, and a log sent in steps."""

import shutil
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient

from server.actions.issue_token import issue_token
from server.app import create_app
from server.settings import Settings
from server.store.database import write_session
from tests.api.logs import small_log
from tests.pages.reading import parsed, problems_of, text_of

Browser = TestClient


def opened(browser: Browser, path: str) -> BeautifulSoup:
    answer = browser.get(path)
    assert answer.status_code == 200, path
    assert problems_of(answer.text) == [], path
    return parsed(answer.text)


def links_of(soup: BeautifulSoup, path: str) -> set[str]:
    found = set()
    for tag in soup.select("a[href], link[href], use[href]"):
        parts = urlsplit(urljoin(f"http://ledger.test{path}", str(tag["href"])))
        if parts.netloc == "ledger.test":
            found.add(parts.path + (f"?{parts.query}" if parts.query else ""))
    return found


def test_every_link_leads_somewhere(browser_without_scripts: Browser) -> None:
    todo, seen = ["/"], {"/"}
    while todo:
        path = todo.pop()
        answer = browser_without_scripts.get(path)
        assert answer.status_code == 200, path
        if "text/html" not in answer.headers["content-type"] or path.startswith("/api"):
            continue
        assert problems_of(answer.text) == [], path
        new = links_of(BeautifulSoup(answer.text, "html.parser"), path) - seen
        seen |= new
        todo += sorted(new)
    assert any(path.startswith("/runs/") for path in seen)
    assert any(path.startswith("/appliances/") for path in seen)
    assert len(seen) > 20


def test_every_page_has_its_twin(browser_without_scripts: Browser) -> None:
    soup = parsed(browser_without_scripts.get("/appliances").text)
    one = soup.select_one("tbody a")["href"]
    for path in ("/", "/appliances", one):
        page = BeautifulSoup(browser_without_scripts.get(path).text, "html.parser")
        twin = page.select_one('link[rel=alternate][type="application/json"]')["href"]
        answer = browser_without_scripts.get(twin)
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("application/json")


def test_a_wrong_slug_leads_to_the_right_one(browser_without_scripts: Browser) -> None:
    soup = opened(browser_without_scripts, "/appliances")
    path = soup.select_one("tbody a")["href"]
    wrong = f"{path.partition('-')[0]}-another-name"
    answer = browser_without_scripts.get(wrong, follow_redirects=False)
    assert answer.status_code in {301, 308}
    assert answer.headers["location"] == path


@pytest.mark.parametrize(
    "path", ["/nothing", "/appliances/aaaaaaaaaa-x", "/runs/aaaaaaaaaa", "/methods/none"]
)
def test_a_wrong_address_is_a_true_404(browser_without_scripts: Browser, path: str) -> None:
    answer = browser_without_scripts.get(path, headers={"Accept": "text/html"})
    assert answer.status_code == 404
    assert problems_of(answer.text) == []
    assert "Nothing stands here" in text_of(parsed(answer.text))


def test_empty_fields_leave_the_address(browser_without_scripts: Browser) -> None:
    answer = browser_without_scripts.get(
        "/appliances?text=&category=&printed_from=&printed_in=hp&sort=maker", follow_redirects=False
    )
    assert answer.status_code == 303
    assert answer.headers["location"] == "/appliances?sort=maker"


def test_the_catalogue_filters_and_sorts(browser_without_scripts: Browser) -> None:
    soup = opened(browser_without_scripts, "/appliances?text=tollan")
    assert [a.get_text() for a in soup.select("tbody th a")] == ["Tollan Shed 40"]
    soup = opened(browser_without_scripts, "/appliances?sort=maker")
    assert [a.get_text().split()[0] for a in soup.select("tbody th a")] == [
        "Millbeck", "Quarrow", "Tollan",
    ]  # fmt: skip
    none = opened(browser_without_scripts, "/appliances?printed_from=50&printed_in=hp")
    assert "No appliance fits these filters" in text_of(none)


def test_side_by_side_from_the_ticked_ones(browser_without_scripts: Browser) -> None:
    soup = opened(browser_without_scripts, "/appliances")
    ids = [box["value"] for box in soup.select("tbody input[name=appliance]")]
    query = "&".join(f"appliance={one}" for one in ids)
    page = opened(browser_without_scripts, f"/side-by-side?{query}")
    assert text_of(page, "h1").strip() == "Three wet/dry vacuums, side by side"
    assert len(page.select("table.compare thead th.n")) == 3
    # One motor under three names: no figure may be told apart from another.
    assert page.select(".verdict") == []


def test_one_s_own_runs_need_a_sign_in(browser_without_scripts: Browser) -> None:
    answer = browser_without_scripts.get("/my-runs", follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/sign-in?next=%2Fmy-runs"


def test_a_wrong_token_is_told_and_not_said_back(browser_without_scripts: Browser) -> None:
    answer = browser_without_scripts.post("/sign-in", data={"token": "bl_wrong", "next": "/send"})
    assert answer.status_code == 422
    assert "not known here" in text_of(parsed(answer.text))
    assert "bl_wrong" not in answer.text


def signed_in(browser: Browser, token: str) -> Browser:
    answer = browser.post("/sign-in", data={"token": token, "next": "/send"})
    assert answer.status_code == 200
    assert answer.url.path == "/send"
    return browser


def fields_of(soup: BeautifulSoup, action: str) -> dict[str, str]:
    """What a browser would post from a form as it stands."""
    form = soup.select_one(f'form[action="{action}"]')
    assert form is not None, action
    fields = {}
    for control in form.select("input[name], textarea[name]"):
        is_box = control.get("type") in {"radio", "checkbox"}
        if not is_box or control.has_attr("checked"):
            fields[control["name"]] = control.get("value") or control.get_text()
    for select in form.select("select[name]"):
        chosen = select.select_one("option[selected]") or select.option
        fields[select["name"]] = chosen["value"]
    return fields


def upload(browser: Browser, log: str, name: str = "my run.csv") -> str:
    """Posts a log; the address of the column check."""
    fields = fields_of(opened(browser, "/send"), "/send")
    fields.pop("file", None)
    answer = browser.post("/send", data=fields, files={"file": (name, log, "text/csv")})
    assert answer.status_code == 200, answer.text
    assert answer.url.path.endswith("/columns")
    return str(answer.url.path)


def go_on(browser: Browser, path: str, *, act: str = "next", **typed: str) -> BeautifulSoup:
    """Fills in fields of a step (dots written as two underscores) and posts it."""
    fields = fields_of(opened(browser, path), path)
    fields |= {name.replace("__", "."): value for name, value in typed.items()} | {"act": act}
    answer = browser.post(path, data=fields)
    assert answer.status_code == 200, answer.text
    assert problems_of(answer.text) == []
    return parsed(answer.text)


def test_a_sign_in_with_a_token_is_led_to_no_closed_door(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    account = opened(browser, "/account")
    hrefs = {str(a["href"]) for a in account.select("main a")}
    assert "/account/name" in hrefs
    assert hrefs.isdisjoint({"/account/email", "/account/password", "/account/second-factor"})
    assert "tokens to sign in with" in text_of(account)
    for href in sorted(hrefs):
        opened(browser, href)
    refused = browser.get("/account/password")
    assert refused.status_code == 403
    foot = parsed(refused.text).select_one("footer").get_text()
    assert "Your account" in foot
    assert "Sign up" not in foot


def test_what_can_not_be_read_is_told_on_its_own_step(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    step = upload(browser, small_log()).replace("/columns", "/appliance")
    page = go_on(browser, step, plate__current="lots", appliance__maker="Osk")
    assert page.select_one("h1").get_text() == "Send a run: what was tested"
    assert "“lots” does not start with a number" in text_of(page)
    assert page.select_one("[name='plate.current']")["value"] == "lots"
    assert page.select_one("[name='appliance.maker']")["value"] == "Osk"
    page = go_on(browser, step, plate__current="8 A")
    assert page.select_one("h1").get_text() == "Send a run: rig and run"


def test_a_log_is_sent_in_steps(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    columns = upload(browser, small_log())
    start = columns.removesuffix("/columns")
    page = opened(browser, columns)
    assert len(page.select("table.column-check select")) == 6
    assert "r/min" in text_of(page, "#so-far")  # figures come before anything is described
    go_on(browser, columns)
    go_on(
        browser,
        f"{start}/appliance",
        appliance__maker="Osk",
        appliance__model="Blower 1",
        appliance__category="leaf blower",
        plate__voltage="120 V",
        plate__supply="AC",
        plate__current="10.2 A",
        claim__1__value="5 hp",
        claim__1__wording="5.0 peak hp",
    )
    figures = go_on(browser, f"{start}/rig", rig__name="Arm", rig__rotor_inertia="4e-5 kg m^2")
    assert "Nothing is sent yet" in text_of(figures)
    form = fields_of(figures, f"{start}/send")
    run = browser.post(f"{start}/send", data=form)
    assert run.status_code == 200
    assert run.url.path.startswith("/runs/")
    text = text_of(parsed(run.text))
    assert "Osk Blower 1" in text
    assert "5.0 peak hp" in text
    assert "my run.csv" in text
    for again in (browser.get(columns), browser.post(f"{start}/send", data=form)):
        assert again.url == run.url  # back, and sent once more: it is this run
    mine = opened(browser, "/my-runs")
    assert "Osk Blower 1" in text_of(mine)
    heads = [head.get_text() for head in mine.select("#main thead th")]
    assert "Run" in heads
    assert "Tester" not in heads  # all are one’s own


def test_what_is_typed_is_kept_even_where_it_is_wrong(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    start = upload(browser, small_log()).removesuffix("/columns")
    page = go_on(
        browser, f"{start}/appliance", act="stay",
        appliance__maker="Osk", plate__circuit="15", claim__1__footnote="<b>peak</b>",
    )  # fmt: skip
    kept = fields_of(page, f"{start}/appliance")
    assert kept["appliance.maker"] == "Osk"
    assert kept["plate.circuit"] == "15"
    assert kept["claim.1.footnote"] == "<b>peak</b>"
    wrong = page.find(id="plate.circuit-problem")
    assert wrong is not None
    assert "15 A" in wrong.get_text()
    figures = opened(browser, f"{start}/figures")
    assert figures.select_one(f'form[action="{start}/send"]') is None
    assert "Not sent yet" in text_of(opened(browser, "/send"))


def test_a_corrected_column_changes_the_figures(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    columns = upload(browser, small_log().replace("torque [N m]", "torque"))
    before = text_of(opened(browser, columns), "#so-far")
    page = go_on(browser, columns, act="stay", column__2__unit="mN m", column__2__channel="torque")
    after = text_of(page, "#so-far")
    assert before != after
    assert fields_of(page, columns)["column.2.unit"] == "mN m"


def test_a_picked_rig_and_appliance_are_used(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    start = upload(browser, small_log()).removesuffix("/columns")
    found = go_on(browser, f"{start}/appliance", act="stay", find="tollan")
    options = {
        label.get_text(strip=True): label.input["value"]
        for label in found.select("label.inline") if label.input["name"] == "pick.appliance"
    }  # fmt: skip
    assert "Tollan Shed 40, wet/dry vacuum" in options
    picked = options["Tollan Shed 40, wet/dry vacuum"]
    go_on(browser, f"{start}/appliance", pick__appliance=picked)
    rigs = opened(browser, f"{start}/rig").select("input[name='pick.rig']")
    assert len(rigs) > 1
    figures = go_on(browser, f"{start}/rig", pick__rig=rigs[0]["value"])
    run = browser.post(f"{start}/send", data=fields_of(figures, f"{start}/send"))
    assert "Tollan Shed 40" in text_of(parsed(run.text))


def test_columns_are_read_as_last_time_with_the_rig(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    log = small_log().replace("voltage [V]", "ch 5")
    start = upload(browser, log).removesuffix("/columns")
    go_on(browser, f"{start}/columns", column__4__channel="voltage", column__4__unit="V")
    go_on(browser, f"{start}/appliance", appliance__maker="Osk", appliance__model="Two")
    figures = go_on(browser, f"{start}/rig", rig__name="Other arm")
    browser.post(f"{start}/send", data=fields_of(figures, f"{start}/send"))
    again = upload(browser, log)
    fields = fields_of(opened(browser, again), again)
    assert fields["column.4.channel"] == "voltage"
    assert fields["column.4.unit"] == "V"


def test_a_file_that_can_not_be_used_says_why(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    fields = fields_of(opened(browser, "/send"), "/send")
    fields.pop("file", None)
    png = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4
    answer = browser.post("/send", data=fields, files={"file": ("a.png", png, "image/png")})
    assert answer.status_code == 422
    assert problems_of(answer.text) == []


def test_a_form_of_another_session_changes_nothing(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    columns = upload(browser, small_log())
    answer = browser.post(columns, data={"csrf_token": "x", "act": "next"})
    assert answer.status_code == 403
    answer = browser.post(columns, data={"act": "next"}, headers={"Origin": "http://other.test"})
    assert answer.status_code == 403


def test_a_run_is_taken_back_by_its_tester_only(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    run = next(a["href"] for a in opened(browser_without_scripts, "/").select("a[href^='/runs/']"))
    assert opened(browser_without_scripts, run).select_one(f'form[action="{run}/withdraw"]') is None
    browser = signed_in(browser_without_scripts, new_token())
    fields = fields_of(opened(browser, run), f"{run}/withdraw") | {"note": "wrong specimen"}
    page = parsed(browser.post(f"{run}/withdraw", data=fields).text)
    assert "withdrawn" in text_of(page).lower()
    browser.cookies.clear()
    assert browser.get(run).status_code == 404


def test_a_hostile_log_name_and_notes_stay_text(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    hostile = "<img src=x onerror=alert(1)>"
    log = small_log().replace("power [W]", f"{hostile} [W]")
    start = upload(browser, log, name=f"{hostile}.csv").removesuffix("/columns")
    go_on(browser, f"{start}/columns")
    go_on(
        browser, f"{start}/appliance", appliance__maker=hostile, appliance__model='"><script>',
    )  # fmt: skip
    figures = go_on(browser, f"{start}/rig", rig__name=hostile, run__notes=hostile)
    run = browser.post(f"{start}/send", data=fields_of(figures, f"{start}/send"))
    soup = BeautifulSoup(run.text, "html.parser")
    assert problems_of(run.text) == []
    assert soup.find("img") is None
    assert hostile in text_of(soup)


def test_a_very_long_log_is_followed_on_its_page(filled: Path, tmp_path: Path) -> None:
    """Above the inline size the run stands at once, and says that its figures are being made."""
    data = tmp_path / "data"
    shutil.copytree(filled, data)
    app = create_app(Settings(data=data, inline_rows=0))
    with write_session(app.state.resources.engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    with TestClient(app, base_url="http://ledger.test") as client:
        browser = signed_in(client, token)
        start = upload(browser, small_log()).removesuffix("/columns")
        go_on(browser, f"{start}/appliance", appliance__maker="Osk", appliance__model="Long")
        figures = go_on(browser, f"{start}/rig")
        assert "made after it is sent" in text_of(figures)
        run = browser.post(f"{start}/send", data=fields_of(figures, f"{start}/send"))
        soup = parsed(run.text)
        assert problems_of(run.text) == []
        assert "Being worked out" in text_of(soup)
        status = soup.select_one("[data-wait]")["data-wait"]
        assert browser.get(status).json()["state"] == "working"


def test_the_twin_of_a_filtered_list_holds_the_same_appliances(
    browser_without_scripts: Browser,
) -> None:
    path = "/appliances?text=router&printed_from=1&figure=efficiency_max&from=10&sort=ratio"
    page = BeautifulSoup(browser_without_scripts.get(path).text, "html.parser")
    shown = [box["value"] for box in page.select("tbody input[name=appliance]")]
    twin = page.select_one('link[rel=alternate][type="application/json"]')["href"]
    items = browser_without_scripts.get(twin).json()["items"]
    assert [item["id"] for item in items] == shown
    assert len(shown) == 1
    csv = page.select_one('a[href*="format=csv"]')["href"]
    assert browser_without_scripts.get(csv).headers["content-type"].startswith("text/csv")


def test_the_api_in_words_and_each_method_have_a_page(browser_without_scripts: Browser) -> None:
    assert "GET /appliances" in text_of(opened(browser_without_scripts, "/api-guide"))
    list_of = opened(browser_without_scripts, "/methods")
    methods = list_of.select(".method-list a")
    assert len(methods) >= 5
    firsts = [said.get_text() for said in list_of.select(".method-list p")]
    assert len(firsts) == len(methods)
    assert not [said for said in firsts if "](" in said or said.startswith("Method ")]
    for link in methods:
        page = opened(browser_without_scripts, link["href"])
        assert text_of(page, "h1").strip() == link.get_text()
