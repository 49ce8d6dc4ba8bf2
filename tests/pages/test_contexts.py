"""Pages from made-up contexts: what they say, and that nothing in them runs."""

import json
import re
from dataclasses import replace

import pytest

from server.charts import run_trace
from server.charts.palette import CHART_CSS, TOKENS
from server.model.results import Trace
from server.pages.appliance import appliance_page
from server.pages.catalogue_filter import CatalogueForm, address, read_filter, read_form
from server.pages.pictures import script_json, show_figure
from server.pages.templating import render_text
from server.static_files import SOURCE
from tests.pages import rendering, samples
from tests.pages.reading import parsed, problems_of, text_of

NARROW_SPACE = "\u202f"
NB = "\u00a0"


@pytest.mark.parametrize("name", rendering.PAGES)
def test_every_page_keeps_the_rules(name: str) -> None:
    assert problems_of(rendering.PAGES[name]()) == []


@pytest.mark.parametrize("name", ["front", "catalogue", "appliance", "run", "figure"])
def test_what_people_type_stays_text(name: str) -> None:
    html = rendering.PAGES[name](samples.HOSTILE)
    assert problems_of(html) == []
    soup = parsed(html, has_scripts=True)
    assert soup.find("b") is None
    assert "alert(" not in "".join(s.get_text() for s in soup.find_all("script", type="module"))
    assert all(
        "</" not in (s.string or "") for s in soup.find_all("script", type="application/json")
    )
    assert '<script>alert("1")</script>' in text_of(soup)


def test_side_by_side_keeps_what_people_type_as_text() -> None:
    html = rendering.side_by_side((samples.HOSTILE, "Tollan"))
    assert problems_of(html) == []
    assert parsed(html).find("b") is None


def test_the_front_says_what_it_is_and_how_its_rows_were_chosen() -> None:
    text = text_of(parsed(rendering.front()))
    assert "set beside the number printed on the box" in text
    assert "smallest share of the printed figure first" in text
    assert f"574{NB}±{NB}12{NB}W" in text


def test_an_empty_ledger_says_what_would_fill_it() -> None:
    front = text_of(parsed(rendering.front(is_empty=True)))
    assert "Nothing has been published yet" in front
    assert "The first run sent in will stand here" in front
    catalogue = text_of(parsed(rendering.catalogue(is_empty=True)))
    assert "No appliance fits these filters" in catalogue


def test_the_front_sorts_its_rows_by_ratio() -> None:
    soup = parsed(rendering.front())
    ratios = [row.find_all("td")[-1].get_text() for row in soup.select("figure table tbody tr")]
    values = [float(re.split(r"[^\d.]", ratio)[0]) for ratio in ratios]
    assert values == sorted(values)
    assert len(values) == 3


def test_an_appliance_says_printed_measured_and_ratio_in_its_first_sentence() -> None:
    soup = parsed(rendering.appliance())
    sentence = text_of(soup, ".sentence")
    assert soup.select_one(".sentence .printed").get_text() == f"5.0{NB}hp"
    assert soup.select_one(".sentence .measured").get_text() == f"838{NB}±{NB}20{NB}W"
    assert "of the printed figure" in sentence
    assert "newest published brake run" in text_of(soup)
    assert ", method brake-1." in text_of(soup)


def test_an_appliance_reads_its_claim_in_every_meaning() -> None:
    soup = parsed(rendering.appliance())
    table = soup.select_one("#claim-picture table")
    meanings = [cell.get_text() for cell in table.select("tbody th")]
    assert len(meanings) == 8
    assert "Wall, rotor held (shaft: 0 W)" in meanings
    assert "not measured" in table.get_text()


def test_a_peak_that_was_not_bracketed_is_at_least_everywhere() -> None:
    for html in (rendering.appliance(is_bounded=False), rendering.run(is_bounded=False)):
        soup = parsed(html)
        assert f"at least 690{NB}W" in text_of(soup)
        assert f"690{NB}±{NB}18{NB}W" not in text_of(soup, ".heads")


def test_an_appliance_without_a_run_says_what_is_printed_and_what_is_missing() -> None:
    view = replace(samples.appliance_view(), best=None, runs=(), n_specimens=0, n_testers=0)
    page = appliance_page(view, readings=())
    html = render_text("appliance.html", page=page, site=rendering.SITE)
    assert problems_of(html) == []
    text = text_of(parsed(html))
    assert "No published bench run shows its power yet" in text
    assert "A brake-run log would fill this page" in text
    assert "Peak as developed by the motor alone" in text


@pytest.mark.parametrize(
    ("produced", "said"), [("2023–24", "made 2023–24"), ("2023–", "made since 2023")]
)
def test_when_it_was_made(produced: str, said: str) -> None:
    view = samples.appliance_view()
    content = replace(view.appliance.content, produced=produced)
    appliance = replace(view.appliance, content=content)
    page = appliance_page(replace(view, appliance=appliance), readings=())
    assert page.basis.endswith(f" · {said}")


def test_every_picture_stands_in_three_widths_with_its_table() -> None:
    for name in ("front", "appliance", "run", "side-by-side"):
        soup = parsed(rendering.PAGES[name]())
        figures = soup.select("figure.figure")
        assert figures, name
        for figure in figures:
            widths = [len(figure.select(f".{w} svg")) for w in ("wide", "middle", "narrow")]
            assert widths == [1, 1, 1]
            assert figure.select_one("details table") is not None


def test_a_picture_of_many_points_does_without_the_middle_width() -> None:
    time = tuple(0.05 * i for i in range(1200))
    wave = tuple(1 / 3 + (i % 40) for i in range(1200))
    trace = Trace({"torque": time}, {"torque": wave})
    shown = show_figure(run_trace(trace))
    assert shown.middle == ""
    assert shown.wide
    assert shown.narrow
    assert shown.plotly is not None
    drawn = json.loads(shown.plotly)["data"][0]
    assert drawn["x"][-1] == 59.95
    # Of each tooth the two ends are left: what lies straight between them is not needed.
    assert drawn["y"][:4] == [0.3333, 39.33, 0.3333, 39.33]
    assert len(drawn["x"]) == 60


def test_a_picture_has_a_size_before_it_is_drawn() -> None:
    for svg in parsed(rendering.appliance()).select("figure svg"):
        assert float(svg["width"]) > 0
        assert float(svg["height"]) > 0


def test_a_run_shows_its_figures_findings_method_and_file() -> None:
    soup = parsed(rendering.run())
    titles = [h.get_text() for h in soup.select("main h2")]
    for title in ("Findings", "Figures", "The run over time", "How well the curves fit",
                  "How it was worked out", "The file"):  # fmt: skip
        assert title in titles
    text = text_of(soup)
    assert "brake-1" in text
    assert "ab" * 32 in text
    assert "the rotor was never held" in text


def test_weighty_findings_come_first() -> None:
    weights = [w.get_text() for w in parsed(rendering.run()).select(".findings .weight")]
    assert weights == ["check this", "note"]


def test_clearly_most_only_where_it_is_clear() -> None:
    soup = parsed(rendering.side_by_side())
    rows = {row.th.get_text(): row for row in soup.select("table.compare tbody tr")}
    assert rows["Shaft, highest steady"].select_one(".verdict").get_text() == "clearly most"
    assert rows["Efficiency, best"].select_one(".verdict") is None
    assert {cell.get_text() for cell in rows["Method"].select("td > span")} == {"brake-1"}


def test_a_comparison_of_one_offers_to_add_another() -> None:
    soup = parsed(rendering.side_by_side(("Millbeck",)))
    assert soup.select_one("table.compare") is None
    assert len(soup.select("#add input[type=checkbox], input[name=appliance]")) >= 2


def test_the_address_is_the_state_of_the_catalogue() -> None:
    typed = {
        "text": "wet dry", "category": "vacuum", "printed_from": "2", "printed_in": "hp",
        "figure": "efficiency_max", "from": "50", "sort": "ratio", "order": "rising",
    }  # fmt: skip
    form = read_form(typed)
    query = address(form).partition("?")[2]
    assert read_form(dict(pair.split("=") for pair in query.replace("+", " ").split("&"))) == form
    wanted, problems = read_filter(form, None)
    assert problems == []
    assert wanted.printed_power_w == (pytest.approx(1491.399743), None)
    assert list(wanted.metric_ranges.values()) == [(0.5, None)]
    assert not wanted.descending


def test_a_range_that_is_no_number_is_named_and_left_out() -> None:
    wanted, problems = read_filter(CatalogueForm(printed_from="two"), None)
    assert wanted.printed_power_w == (None, None)
    assert problems == ["Printed power: “two” is not a number, so it was left out."]


def test_shared_links_show_title_sentence_and_address() -> None:
    head = parsed(rendering.appliance()).head
    assert head.select_one('meta[property="og:title"]')["content"] == "Millbeck WD-30"
    assert "Printed" in head.select_one('meta[property="og:description"]')["content"]
    canonical = head.select_one("link[rel=canonical]")["href"]
    assert canonical == "http://ledger.test/appliances/4k7p2m9xq1-millbeck-wd-30"
    assert head.select_one('link[rel=alternate][type="application/json"]')["href"].startswith(
        "/api/v1/appliances/"
    )


def test_safety_gives_cautions_and_defers() -> None:
    text = text_of(parsed(rendering.safety()))
    for words in ("local codes", "licensed", "overspeed without load", "isolating transformer"):
        assert words in text


def test_json_in_a_page_can_not_end_its_element() -> None:
    assert "<" not in script_json({"name": samples.HOSTILE})


def test_the_style_sheet_holds_the_tokens_and_the_pictures_classes() -> None:
    sheet = (SOURCE / "css" / "site.css").read_text(encoding="utf-8")
    light, _, rest = sheet.partition("@media (prefers-color-scheme: dark)")
    for name, (on_light, on_dark) in TOKENS.items():
        short = "#fff" if on_light == "#ffffff" else on_light
        assert f"--{name}: {short};" in light
        assert f"--{name}: {on_dark};" in rest
    drawn = sheet.partition("/* charts begin */")[2].partition("/* charts end */")[0]
    assert drawn.replace("\n", "") == CHART_CSS
