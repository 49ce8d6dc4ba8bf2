"""Testers side by side on the appliance page, and how sure a rank is in a comparison."""

from bs4 import BeautifulSoup

from server.actions.pool_appliance import pool_runs
from server.actions.rank_appliances import chance_of_highest
from server.actions.read_run_claims import read_run_claims
from server.model.measured import Metric
from server.model.pooled import HEADLINE, MetricPooling, PublishedRun
from server.model.words import MetricName
from server.pages.appliance import appliance_page
from server.pages.rank_rows import CHANCE, RANKED, rank_rows, rank_sentences
from server.pages.side_by_side import side_by_side_page
from server.pages.templating import render_text
from tests.pages import samples
from tests.pages.reading import parsed, problems_of, text_of
from tests.pages.rendering import SITE

NB = "\u00a0"
STEADY = MetricName.SHAFT_POWER_MAX_STEADY


def run(tester: str, power_w: float, *, number: int = 1, is_bound: bool = False,
        is_supply_off: bool = False, version: str = "brake-3") -> PublishedRun:  # fmt: skip
    return PublishedRun(
        public_id=f"r7p2m9xq{number:02d}",
        tester=tester,
        tester_id=tester,
        specimen_id=f"s1a2b3c4{number:02d}",
        specimen="A",
        condition="worn",
        tested_on=None,
        instruments={},
        metrics={
            STEADY: Metric(STEADY, power_w, 5.0, lower_bound=is_bound),
            MetricName.EFFICIENCY_MAX: Metric(MetricName.EFFICIENCY_MAX, 0.6, 0.01),
        },
        is_supply_off=is_supply_off,
        method_version=version,
    )


def pooled(*runs: PublishedRun) -> tuple[MetricPooling, ...]:
    return tuple(pool_runs(runs, metric=name) for name in HEADLINE)


def appliance(*runs: PublishedRun) -> BeautifulSoup:
    view = samples.appliance_view()
    assert view.best is not None
    page = appliance_page(view, readings=read_run_claims(view.best), pooled=pooled(*runs))
    html = render_text("appliance.html", page=page, site=SITE)
    assert problems_of(html) == []
    return parsed(html)


def section(soup: BeautifulSoup) -> str:
    heading = soup.select_one("#testers")
    assert heading is not None
    return text_of(heading.parent.parent, "section[aria-labelledby=testers]")


def test_testers_who_disagree_are_named_in_plain_words() -> None:
    soup = appliance(run("Ada", 640.0), run("Bo", 720.0, number=2, is_supply_off=True))
    text = section(soup)
    assert "Ada and Bo differ by more than their uncertainties explain" in text
    assert f"shaft, highest steady ({80 / 50**0.5:.1f})." in text
    assert "2 testers disagree by more than their uncertainties explain" in text
    assert "2 testers agree within their uncertainties" not in text
    assert "Pieces: A, worn (Ada); A, worn (Bo)." in text
    assert "The supply was off the plate’s voltage when Bo measured" in text
    rows = {
        r.th.get_text(): r for r in soup.select("section[aria-labelledby=testers] table.list tr")
    }
    assert rows["Shaft, highest steady"].find("strong").get_text() == "disagree"
    assert rows["Efficiency, best"].find("strong") is None
    assert "Spread between testers" in text
    assert f"pooled over 2{NB}testers, which do not all agree" in text_of(soup)


def test_the_picture_links_each_run() -> None:
    soup = appliance(run("Ada", 640.0), run("Bo", 642.0, number=2))
    found = {a["xlink:href"] for a in soup.select("#testers-side-by-side svg a")}
    assert found == {"/runs/r7p2m9xq01", "/runs/r7p2m9xq02"}
    assert "which agree as far as can be told" in text_of(soup)


def test_one_run_alone_is_shown_as_one_run_and_says_so() -> None:
    soup = appliance(run("Ada", 640.0))
    assert "One run alone is shown as one run" in section(soup)
    assert soup.select_one("#testers-side-by-side") is None
    assert "No other run can be pooled with it yet" in text_of(soup)
    assert f"640{NB}±{NB}10{NB}W" in section(soup)


def test_runs_of_one_tester_are_not_called_pooled() -> None:
    soup = appliance(run("Ada", 640.0), run("Ada", 642.0, number=2))
    assert "One tester, 2 runs" in section(soup).replace("one tester, 2", "One tester, 2")
    assert "by the same tester: nothing to pool yet" in text_of(soup)


def test_what_is_left_out_is_said_with_its_reason() -> None:
    text = section(appliance(run("Ada", 640.0), run("Bo", 700.0, number=2, is_bound=True)))
    assert f"Shaft, highest steady, left out: one{NB}run by Bo; only “at least” is known" in text


def test_without_a_published_run_the_section_is_not_there() -> None:
    assert appliance().select_one("#testers") is None


def comparison(*powers: tuple[PublishedRun, ...]) -> BeautifulSoup:
    views = [samples.appliance_view(f"Maker{n}", number=n) for n in range(1, len(powers) + 1)]
    found = {
        view.appliance.public_id: pool_runs(runs, metric=RANKED)
        for view, runs in zip(views, powers, strict=True)
    }
    chances = chance_of_highest(found)
    page = side_by_side_page(
        views,
        text="",
        found=(),
        problems=(),
        rank_rows=rank_rows(views, found, chances),
        rank_sentences=rank_sentences(views, found, chances),
    )
    html = render_text("side_by_side.html", page=page, site=SITE)
    assert problems_of(html) == []
    return parsed(html)


def test_a_comparison_says_how_sure_the_highest_is() -> None:
    two = (run("Ada", 640.0), run("Bo", 641.0, number=2))
    soup = comparison(two, (run("Ada", 641.0),), (run("Bo", 900.0, is_bound=True),))
    rows = {row.th.get_text(): row for row in soup.select("table.compare tbody tr")}
    cells = [cell.get_text(strip=True) for cell in rows[CHANCE].select("td")]
    assert cells[2] == "not ranked"
    assert all(cell.endswith(f"{NB}%") for cell in cells[:2])
    assert sum(float(cell.split(NB)[0]) for cell in cells[:2]) == 100
    text = text_of(soup)
    assert f"2{NB}testers" in rows["Shaft, highest steady, pooled"].get_text()
    assert "share of 20\u202f000 draws" in text
    assert "over all testers the highest is less sure" in text
    assert "One tester only: Maker2 WD-30." in text
    assert "Not ranked: Maker3 WD-30" in text


def test_a_comparison_without_two_values_claims_no_rank() -> None:
    soup = comparison((run("Ada", 640.0),), (run("Bo", 900.0, is_bound=True),))
    assert CHANCE not in text_of(soup)
    assert "Not ranked" not in text_of(soup)


def test_figures_of_two_versions_of_the_method_say_so_once() -> None:
    old = run("Ada", 640.0, version="brake-2")
    text = section(appliance(old, run("Bo", 645.0, number=2)))
    assert text.count("made by 2 versions of the method (brake-2 and brake-3)") == 1
    same = section(appliance(run("Ada", 640.0), run("Bo", 645.0, number=2)))
    assert "versions of the method" not in same
