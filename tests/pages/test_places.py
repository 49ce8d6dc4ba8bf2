"""How sure a place in the catalogue is: by simulation, only where a list asks for it."""

from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from server.actions.rank_appliances import chance_of_top
from server.model.pooled import MetricPooling
from server.model.views import CatalogueFilter, ListingRow
from server.pages import place_rows
from server.pages.place_rows import show_places
from server.wording.pooled import show_chance
from tests.actions.test_rank_appliances import pooled
from tests.pages import samples

CATEGORY = "wet/dry vacuum"
STEADY = CatalogueFilter(category=CATEGORY, sort="shaft_power_max_steady", descending=True)
Pooled = dict[str, MetricPooling]


def listed(*values: float, u: float = 5.0) -> tuple[list[ListingRow], Pooled]:
    rows = [samples.listing_row(f"Maker {n}", n) for n in range(1, len(values) + 1)]
    return rows, {
        row.public_id: pooled(value, u=u) for row, value in zip(rows, values, strict=True)
    }


def test_equal_figures_share_the_first_places() -> None:
    """Symmetry: of six equal figures each is among the first three in half of the draws."""
    rows, figures = listed(*[800.0] * 6)
    chances = chance_of_top(figures, k=3)
    assert sum(chances.values()) == pytest.approx(3.0)
    assert all(p == pytest.approx(0.5, abs=0.02) for p in chances.values())
    shown = show_places(STEADY, rows, figures, has_more=False)
    assert shown is not None
    assert shown.label == "Chance of being among the 3 highest"
    assert set(shown.cells) == {row.public_id for row in rows}


def test_two_close_figures_at_the_edge_of_the_first_three() -> None:
    """Difference sqrt(2) x 5, its standard uncertainty the same: the normal's 0.8413 at 1."""
    rows, figures = listed(1000, 950, 800 + 5 * 2**0.5, 800, 500, 400)
    shown = show_places(STEADY, rows, figures, has_more=False)
    assert shown is not None
    cells = [shown.cells[row.public_id] for row in rows]
    assert cells[0] == cells[1] == show_chance(1.0)
    assert int(cells[2].split("\N{NO-BREAK SPACE}")[0]) == pytest.approx(84, abs=2)
    assert int(cells[3].split("\N{NO-BREAK SPACE}")[0]) == pytest.approx(16, abs=2)
    assert cells[4] == cells[5] == show_chance(0.0)


def test_lowest_first_asks_for_the_lowest() -> None:
    rows, figures = listed(500, 800)
    shown = show_places(replace(STEADY, descending=False), rows, figures, has_more=False)
    assert shown is not None
    assert shown.label == "Chance of being the lowest"
    assert shown.cells[rows[0].public_id] == show_chance(1.0)


def test_a_ratio_is_the_pooled_figure_over_the_printed_power() -> None:
    """The stronger one prints far more: over the printed power it comes last."""
    rows, figures = listed(1000, 800)
    rows = [replace(rows[0], printed_power_w=4000.0), replace(rows[1], printed_power_w=1000.0)]
    shown = show_places(replace(STEADY, sort="ratio"), rows, figures, has_more=False)
    assert shown is not None
    assert shown.cells[rows[0].public_id] == show_chance(0.0)
    bare = [replace(rows[0], printed_power_w=None), rows[1]]
    assert show_places(replace(STEADY, sort="ratio"), bare, figures, has_more=False) is None


def test_what_is_left_out_is_said() -> None:
    rows, figures = listed(1000, 900, 800, 700, 600, 500)
    far = show_places(STEADY, rows, figures, has_more=True)
    near = show_places(STEADY, *listed(*[800.0] * 6), has_more=True)
    whole = show_places(STEADY, rows, figures, has_more=False)
    assert far is not None
    assert near is not None
    assert whole is not None
    assert "how little the rest" in far.sentences[-1]
    assert "may belong among the first as well" in near.sentences[-1]
    assert "later pages" not in " ".join(whole.sentences)


def test_only_at_least_is_not_ranked() -> None:
    rows, figures = listed(1000, 900, 800)
    figures[rows[0].public_id] = pooled(1000.0, is_bound=True)
    shown = show_places(STEADY, rows, figures, has_more=False)
    assert shown is not None
    assert shown.cells[rows[0].public_id] == "not ranked"
    assert "“at least”" in " ".join(shown.sentences)


def test_the_page_of_one_category_shows_the_chance(browser_without_scripts: TestClient) -> None:
    query = {"category": CATEGORY, "sort": "shaft_power_at_rated_current"}
    page = browser_without_scripts.get("/appliances", params=query).text
    assert 'data-label="Chance of being the highest"' in page
    assert 'href="/methods/pooling"' in page


@pytest.mark.parametrize(
    "query",
    [
        {},
        {"sort": "shaft_power_max_steady"},
        {"category": CATEGORY},
        {"category": CATEGORY, "sort": "printed_power"},
        {"category": CATEGORY, "sort": "maker"},
    ],
)
def test_other_lists_read_no_more_than_before(
    query: dict[str, str],
    browser_without_scripts: TestClient,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def pools(*_: object, **__: object) -> None:
        raise AssertionError("figures were pooled for a list that shows no chance")

    monkeypatch.setattr(place_rows, "pool_appliances", pools)
    page = browser_without_scripts.get("/appliances", params=query)
    assert page.status_code == 200
    assert "Chance of being" not in page.text
