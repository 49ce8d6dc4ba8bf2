"""The catalogue: every row once, in order, whatever is filtered; few statements."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace

import pytest
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from server.actions.add_appliance import add_appliance
from server.actions.submit_run import submit_run
from server.errors import InvalidInput
from server.model.bench import Appliance, Claim
from server.model.measured import Metric
from server.model.views import CATALOGUE_SORTS, CatalogueFilter, ListingRow, Tester
from server.model.words import MetricName
from server.settings import Settings
from server.store.catalogue import categories, front_rows, list_catalogue
from server.store.cursor import write_cursor
from server.store.database import read_session, write_session
from tests.actions.examples import (
    example_bench,
    example_prepared,
    example_reduction,
    example_upload,
)

Counting = Callable[[Engine], AbstractContextManager[list[str]]]
# model, maker, category, shaft power (None: no run)
STOCK = [
    ("WD 30", "Millbeck", "wet/dry vacuum", 640.0),
    ("WD 31", "Millbeck", "wet/dry vacuum", 640.0),
    ("Tornado 9", "Tarnway", "wet/dry vacuum", 700.0),
    ("CS 185", "Tarnway", "circular saw", 900.0),
    ("CS 190", "Osgrove", "circular saw", None),
    ("Élan", "Osgrove", "circular saw", 500.0),
    ("Plain", "Quarrel", "drill", None),
]


@pytest.fixture
def stocked(settings: Settings, engine: Engine, tester: Tester) -> Engine:
    upload = example_upload(settings.files)
    for model, maker, category, power in STOCK:
        bench = example_bench(maker=maker, model=model)
        assert bench.appliance is not None
        bench = replace(bench, appliance=replace(bench.appliance, category=category))
        if power is None:
            with write_session(engine) as session:
                add_appliance(
                    session, appliance=bench.appliance, tester=tester, claims=bench.claims
                )
            continue
        reduction = example_reduction(shaft_w=power)
        prepared = example_prepared(settings.files, upload, bench, reduction=reduction)
        with write_session(engine) as session:
            submit_run(session, prepared=prepared, upload=upload, bench=bench, tester=tester)
    return engine


def models(engine: Engine, **named: object) -> list[str]:
    with read_session(engine) as session:
        page = list_catalogue(session, filters=CatalogueFilter(**named))  # type: ignore[arg-type]
    return [row.model for row in page.items]


def walk(session: Session, filters: CatalogueFilter) -> list[ListingRow]:
    rows: list[ListingRow] = []
    cursor = None
    while True:
        page = list_catalogue(session, filters=replace(filters, cursor=cursor))
        rows += page.items
        cursor = page.next
        if cursor is None:
            return rows


@pytest.mark.parametrize("sort", CATALOGUE_SORTS)
@pytest.mark.parametrize("descending", [True, False])
def test_paging_shows_every_row_once_in_order(stocked: Engine, sort: str, descending: bool) -> None:
    with read_session(stocked) as session:
        for limit in (1, 2, 3, 50):
            rows = walk(session, CatalogueFilter(sort=sort, descending=descending, limit=limit))
            assert len(rows) == len(STOCK)
            assert len({row.public_id for row in rows}) == len(STOCK)
            values = [_value(row, sort) for row in rows]
            known = [value for value in values if value is not None]
            assert known == sorted(known, reverse=descending)
            assert values[: len(known)] == known, "those without the figure come last"


def _value(row: ListingRow, sort: str) -> object:
    by_hand = {
        "newest": row.updated_at,
        "maker": f"{row.maker} {row.model}".casefold(),
        "printed_power": row.printed_power_w,
        "ratio": row.ratio,
    }
    if sort in by_hand:
        return by_hand[sort]
    metric = row.metrics.get(MetricName(sort))
    return metric.value if metric is not None else None


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("millbeck", {"WD 30", "WD 31"}),
        ("MILLBECK 31", {"WD 31"}),
        ("wet vac", {"WD 30", "WD 31", "Tornado 9"}),
        ("torn", {"Tornado 9"}),
        ("elan", {"Élan"}),
        ("ÉLAN", {"Élan"}),
        ("ornado", set()),
        ("cs tarnway", {"CS 185"}),
        ("%", set()),
        ("' OR 1=1 --", set()),
        ("\0", set()),
        ("  ", {model for model, *_ in STOCK}),
    ],
)
def test_a_search_takes_beginnings_of_words(stocked: Engine, text: str, found: set[str]) -> None:
    assert set(models(stocked, text=text)) == found


def test_filters_narrow_together(stocked: Engine) -> None:
    power = MetricName.SHAFT_POWER_MAX_STEADY
    assert models(stocked, category="circular saw", metric_ranges={power: (600, None)}) == [
        "CS 185"
    ]
    assert set(models(stocked, maker="TARNWAY")) == {"Tornado 9", "CS 185"}
    assert models(stocked, printed_power_w=(None, 10.0)) == []
    assert set(models(stocked, metric_ranges={power: (640.0, 640.0)})) == {"WD 30", "WD 31"}


def test_any_figure_can_be_filtered(settings: Settings, engine: Engine, tester: Tester) -> None:
    """Also one that the listing has no column for."""
    bench = example_bench()
    sag = MetricName.SUPPLY_SAG
    reduction = example_reduction()
    reduction = replace(reduction, metrics={**reduction.metrics, sag: Metric(sag, 0.03)})
    upload = example_upload(settings.files)
    prepared = example_prepared(settings.files, upload, bench, reduction=reduction)
    with write_session(engine) as session:
        submit_run(session, prepared=prepared, upload=upload, bench=bench, tester=tester)
    assert models(engine, metric_ranges={sag: (0.02, None)}) == ["WD 30"]
    assert models(engine, metric_ranges={sag: (0.04, None)}) == []
    assert models(engine, metric_ranges={sag: (None, None)}) == ["WD 30"]


@pytest.mark.parametrize(
    "cursor",
    [
        "",
        "x",
        "!!!!",
        "é",
        "A" * 5000,
        write_cursor(),
        write_cursor("ratio", True, 1.0, 1),
        write_cursor("newest", True, "yesterday", 1),
        write_cursor("newest", True, "2026-01-01", 1),
        write_cursor("newest", True, "2026-01-01T00:00:00+00:00", 2**63),
        write_cursor("newest", False, "2026-01-01T00:00:00+00:00", 1),
    ],
)
def test_a_cursor_that_is_not_ours_is_refused(stocked: Engine, cursor: str) -> None:
    with pytest.raises(InvalidInput):
        models(stocked, cursor=cursor)


def test_an_unknown_sort_names_those_there_are(stocked: Engine) -> None:
    with pytest.raises(InvalidInput, match="newest"):
        models(stocked, sort="appliance_id")


def test_statements_do_not_grow_with_rows(stocked: Engine, count_queries: Counting) -> None:
    for filters, most in (
        (CatalogueFilter(), 1),
        (CatalogueFilter(sort="ratio"), 2),
        (CatalogueFilter(text="millbeck wet", sort="ratio"), 3),
    ):
        with read_session(stocked) as session, count_queries(stocked) as queries:
            list_catalogue(session, filters=filters)
        assert len(queries) <= most


def test_categories_are_counted(stocked: Engine) -> None:
    with read_session(stocked) as session:
        assert categories(session) == [("circular saw", 3), ("wet/dry vacuum", 3), ("drill", 1)]


def test_the_front_shows_the_newest_with_figures(stocked: Engine) -> None:
    with read_session(stocked) as session:
        rows = front_rows(session, n=2)
    assert [row.model for row in rows] == ["Élan", "CS 185"]


def test_the_highest_printed_power_stands_for_the_appliance(engine: Engine, tester: Tester) -> None:
    claims = (
        Claim("power", 900.0, "900 W", "900 W"),
        Claim("power", 3728.5, "5 peak hp", "5 hp"),
        Claim("speed", 2094.0, "20 000 r/min", "20000 r/min"),
    )
    with write_session(engine) as session:
        add_appliance(
            session, appliance=Appliance("Millbeck", "WD 30", "vacuum"), tester=tester,
            claims=claims,
        )  # fmt: skip
    with read_session(engine) as session:
        (row,) = list_catalogue(session, filters=CatalogueFilter()).items
    assert (row.printed_power_w, row.printed_power_typed) == (3728.5, "5 hp")
