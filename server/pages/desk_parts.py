"""Parts of the desk's pages: similar runs, a tester's record, what a revision changed."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.errors import InvalidInput
from server.model.moderation import TesterRecord
from server.model.similar import Basis, SimilarFigure
from server.pages.revisions import Difference, fields_apart
from server.pages.rows import figure_path
from server.pages.shapes import Value
from server.store.run_revisions import RunRevision
from server.wording.counts import count_of, show_date
from server.wording.desk import off_words
from server.wording.figures import metric_label, show_metric, show_quantity


@dataclass(frozen=True, slots=True)
class RevisionsShown:
    before: str
    after: str
    reason: str | None
    rows: tuple[Difference, ...]


@dataclass(frozen=True, slots=True)
class SimilarRow:
    label: str
    href: str
    own: str
    others: str
    off: str
    is_far: bool


def show_record(record: TesterRecord) -> tuple[Value, ...]:
    standing = "good: clean runs are published at once" if record.is_in_standing else "not yet good"
    if record.is_vouched:
        standing += "; an administrator vouches for them"
    rows = [
        Value("Tester", record.name, note=f"since {show_date(record.since)}"),
        Value("Standing", standing),
        Value("Published", count_of(record.n_published, "run")),
        Value("Sent back at least once", count_of(record.n_returned, "run")),
        Value(
            "Withdrawn",
            count_of(record.n_withdrawn, "run"),
            note=f"{record.n_withdrawn_lately} lately" if record.n_withdrawn_lately else None,
        ),
        Value("Waiting", count_of(record.n_waiting, "run")),
        Value("Second factor", "yes" if record.has_second_factor else "no"),
        Value("Ties with", ", ".join(record.ties) or "no maker", is_missing=not record.ties),
    ]
    return tuple(rows)


def show_revisions(revisions: Sequence[RunRevision]) -> RevisionsShown | None:
    """What the newest revision changed; None for a first one. `revisions`: the newest first."""
    if len(revisions) < 2:
        return None
    new, old = revisions[:2]
    return RevisionsShown(
        before=f"Revision {old.number}",
        after=f"Revision {new.number}",
        reason=new.reason,
        rows=fields_apart(new, old),
    )


def show_similar(one: SimilarFigure, run_id: str) -> SimilarRow:
    name = one.own.name
    others = "no similar run"
    if one.typical is not None and one.low is not None and one.high is not None:
        if one.basis is Basis.APPLIANCE:
            spread = (one.high - one.low) / 2
            others = show_quantity(one.typical, spread, one.own.unit)
        else:
            low, high = (show_quantity(v, None, one.own.unit) for v in (one.low, one.high))
            others = f"{low} to {high}"
    return SimilarRow(
        label=metric_label(name),
        href=figure_path(run_id, name),
        own=show_metric(one.own).text,
        others=others,
        off=off_words(one.n_off, one.reason),
        is_far=one.is_far,
    )


def similar_basis_words(similar: Sequence[SimilarFigure]) -> str:
    same = [one for one in similar if one.basis is Basis.APPLIANCE]
    if same:
        most = max(same, key=lambda one: one.n_runs)
        return (
            f"Others: {count_of(most.n_runs, 'other run')} of this appliance by "
            f"{count_of(most.n_things, 'tester')}, pooled. A standard deviation is that of this "
            "run’s figure, of the pooled one, and between testers, together."
        )
    other = [one for one in similar if one.basis is Basis.CATEGORY]
    if other:
        most = max(other, key=lambda one: one.n_runs)
        return (
            "No other run of this appliance is published. Others: one standard deviation to either "
            f"side of the middle of {count_of(most.n_runs, 'other appliance')} of its category; "
            "the distance is by factors."
        )
    return "No similar run is published, so there is nothing to hold it against."


def problem_texts(refusal: InvalidInput) -> tuple[str, ...]:
    """Each problem as a sentence of its own, with what to do."""
    return tuple(f"{p.message[:1].upper()}{p.message[1:]} {p.remedy}" for p in refusal.problems)
