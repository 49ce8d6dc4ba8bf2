"""The catalogue: keyset pages over the wide listing table, no row objects in between."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, exists, func, literal, select, tuple_, union_all
from sqlalchemy.orm import Session

from server.errors import InvalidInput, Problem
from server.model.views import CATALOGUE_SORTS, CatalogueFilter, ListingRow, Page
from server.model.words import MetricName
from server.store import tables as t
from server.store.cursor import read_cursor, read_time, write_cursor
from server.store.identity import match_key, plain_words
from server.store.listing import LISTED
from server.store.shapes import metrics_of

MAX_PAGE = 200
MAX_WORDS = 6
# A search whose rarest word is on more appliances than this walks the sort order instead of
# collecting: among so many the first page is soon full.
MANY = 2000

# Columns of the table, not of the class: a list needs no identities, and asks for its rows often.
L = t.ListingRow.__table__.c
SORT_COLUMNS: dict[str, Any] = {
    "newest": L.updated_at,
    "maker": L.name_key,
    "printed_power": L.printed_power_w,
    "ratio": L.ratio,
    **{name.value: getattr(L, name.value) for name in LISTED},
}
NEVER_EMPTY = frozenset({"newest", "maker"})
COLUMNS = (
    L.public_id,
    L.slug,
    L.maker,
    L.model,
    L.model_number,
    L.category,
    L.printed_power_w,
    L.printed_power_typed,
    L.n_runs,
    L.n_specimens,
    L.n_testers,
    L.run_public_id,
    L.figures,
    L.ratio,
    L.ratio_standard_uncertainty,
    L.updated_at,
    L.appliance_id,
)

# Made once: checking 17 columns costs a fifth of a page's query.
ROWS = select(*COLUMNS)
SHOWN = frozenset(column.key for column in COLUMNS)


def _category_words() -> Select[str]:
    """From one category's place in the index to the next one's: no row is counted."""
    first = select(func.min(L.category).label("word")).cte(recursive=True)
    following = select(func.min(L.category)).where(L.category > first.c.word).scalar_subquery()
    words = first.union_all(select(following).where(first.c.word.is_not(None)))
    return select(words.c.word).where(words.c.word.is_not(None))


CATEGORY_WORDS = _category_words()


def list_catalogue(session: Session, *, filters: CatalogueFilter) -> Page[ListingRow]:
    """One page of appliances. Those without the figure sorted by come last, newest first.

    Raises
    ------
    InvalidInput: a sort that does not exist, a cursor that is not of this sort.
    """
    if filters.sort not in SORT_COLUMNS or filters.sort not in CATALOGUE_SORTS:
        problem = Problem(
            f"“{filters.sort}” can't be sorted by.",
            f"Use one of {', '.join(CATALOGUE_SORTS)}.",
            field="sort",
        )
        raise InvalidInput("catalogue", [problem])
    conditions = _conditions(session, filters)
    if conditions is None:
        return Page(())
    limit = min(max(filters.limit, 1), MAX_PAGE)
    rows = _rows(session, filters, conditions, limit + 1)
    following = _cursor(filters, rows[limit - 1]) if len(rows) > limit else None
    return Page(tuple(_listing_row(row) for row in rows[:limit]), following)


def front_rows(session: Session, *, n: int) -> tuple[ListingRow, ...]:
    """The newest appliances that have figures beside a printed power, for the front page."""
    rows = session.execute(
        ROWS.where(L.ratio.is_not(None))
        .order_by(L.updated_at.desc(), L.appliance_id.desc())
        .limit(n)
    )
    return tuple(_listing_row(row) for row in rows)


def categories(session: Session) -> list[tuple[str, int]]:
    """Each category with its number of appliances, the fullest first."""
    n = func.count()
    rows = session.execute(
        select(L.category, n).group_by(L.category).order_by(n.desc(), L.category)
    )
    return [(row[0], row[1]) for row in rows]


def category_words(session: Session) -> list[str]:
    """Each category once, in order."""
    return list(session.execute(CATEGORY_WORDS).scalars())


def _rows(
    session: Session, filters: CatalogueFilter, conditions: list[ColumnElement[bool]], limit: int
) -> list[Any]:
    """At most two statements: rows that have the sorted figure, then those that have not."""
    column = SORT_COLUMNS[filters.sort]
    query = ROWS.where(*conditions) if conditions else ROWS
    if column.key not in SHOWN:
        query = query.add_columns(column)
    after_value, after_key = _after(filters)
    rows: list[Any] = []
    if filters.cursor is None or after_value is not None:
        rows = list(
            session.execute(_with_figure(query, column, filters, after_value, after_key, limit))
        )
        after_key = None
    if len(rows) < limit and filters.sort not in NEVER_EMPTY:
        without = query.where(column.is_(None)).order_by(L.appliance_id.desc())
        if after_key is not None:
            without = without.where(L.appliance_id < after_key)
        rows += session.execute(without.limit(limit - len(rows)))
    return rows


def _with_figure(
    query: Select[*tuple[Any, ...]],
    column: Any,
    filters: CatalogueFilter,
    after_value: object,
    after_key: int | None,
    limit: int,
) -> Select[*tuple[Any, ...]]:
    if filters.sort not in NEVER_EMPTY:
        query = query.where(column.is_not(None))
    place = tuple_(column, L.appliance_id)
    if filters.descending:
        if after_key is not None:
            query = query.where(place < tuple_(after_value, after_key))
        return query.order_by(column.desc(), L.appliance_id.desc()).limit(limit)
    if after_key is not None:
        query = query.where(place > tuple_(after_value, after_key))
    return query.order_by(column, L.appliance_id).limit(limit)


def _cursor(filters: CatalogueFilter, row: Any) -> str:
    value = getattr(row, SORT_COLUMNS[filters.sort].key)
    if filters.sort == "newest":
        value = value.isoformat()
    return write_cursor(filters.sort, filters.descending, value, row.appliance_id)


def _after(filters: CatalogueFilter) -> tuple[Any, int | None]:
    if filters.cursor is None:
        return None, None
    kinds = (str,) if filters.sort in NEVER_EMPTY else (float, int, type(None))
    sort, descending, value, key = read_cursor(filters.cursor, str, bool, kinds, int)
    if sort != filters.sort or descending != filters.descending:
        problem = Problem(
            "it belongs to another order.", "Start from the first page.", field="cursor"
        )
        raise InvalidInput("catalogue", [problem])
    return (read_time(value) if sort == "newest" else value), key


def _conditions(session: Session, filters: CatalogueFilter) -> list[ColumnElement[bool]] | None:
    """None: nothing can match."""
    found: list[ColumnElement[bool]] = []
    if filters.category is not None:
        found.append(L.category == match_key(filters.category))
    if filters.maker is not None:
        found.append(L.maker_key == match_key(filters.maker))
    found += _range(L.printed_power_w, filters.printed_power_w)
    for name, ends in filters.metric_ranges.items():
        found += _metric_range(MetricName(name), ends)
    if filters.text is not None:
        words = plain_words(filters.text)[:MAX_WORDS]
        if not words and filters.text.strip():
            return None
        found += _search(session, words)
    return found


def _range(column: Any, ends: tuple[float | None, float | None]) -> list[ColumnElement[bool]]:
    low, high = ends
    found = []
    if low is not None:
        found.append(column >= low)
    if high is not None:
        found.append(column <= high)
    return found


def _metric_range(
    name: MetricName, ends: tuple[float | None, float | None]
) -> list[ColumnElement[bool]]:
    if name in LISTED:
        return _range(getattr(L, name.value), ends)
    limits = _range(t.MetricRow.value, ends)
    if not limits:
        return []
    of_shown = and_(t.MetricRow.metric_set_id == L.metric_set_id, t.MetricRow.name == name.value)
    return [exists().where(of_shown, *limits)]


def _search(session: Session, words: Sequence[str]) -> list[ColumnElement[bool]]:
    """Every word must begin a word of the appliance's maker, model, number or category.

    One look at how many each is on decides: the rarest is collected, the others looked up.
    """
    if not words:
        return []
    w = t.ListingWordRow
    counts = [
        select(
            literal(position).label("position"),
            select(func.count())
            .select_from(select(w.word).where(*_begins(w.word, word)).limit(MANY + 1).subquery())
            .scalar_subquery()
            .label("n"),
        )
        for position, word in enumerate(words)
    ]
    n_on = {row.position: row.n for row in session.execute(union_all(*counts))}
    rarest = min(n_on, key=lambda position: n_on[position])
    found: list[ColumnElement[bool]] = []
    for position, word in enumerate(words):
        if position == rarest and n_on[position] <= MANY:
            found.append(L.appliance_id.in_(select(w.appliance_id).where(*_begins(w.word, word))))
        else:
            found.append(exists().where(w.appliance_id == L.appliance_id, *_begins(w.word, word)))
    return found


def _begins(column: Any, word: str) -> tuple[ColumnElement[bool], ColumnElement[bool]]:
    # A range, so that the index serves; words hold letters and digits only.
    return column >= word, column < word + "\U0010ffff"


def _listing_row(row: Any) -> ListingRow:
    (
        public_id, slug, maker, model, model_number, category, printed_w, printed_typed,
        n_runs, n_specimens, n_testers, run_id, figures, ratio, u_ratio, updated_at, *_,
    ) = row  # fmt: skip
    return ListingRow(
        public_id, slug, maker, model, model_number, category, printed_w, printed_typed,
        n_runs, n_specimens, n_testers, run_id, metrics_of(figures), ratio, u_ratio, updated_at,
    )  # fmt: skip
