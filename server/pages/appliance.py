"""The appliance page: one sentence, the claim read every way, the load line, the runs."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.charts import along_the_load, where_the_watts_go
from server.model.bench import Claim, ClaimReading
from server.model.pooled import MetricPooling
from server.model.results import Reduction
from server.model.views import ApplianceView, RunView
from server.model.words import MetricName, RunState
from server.pages.appliance_people import AppliancePeople
from server.pages.appliance_testers import TestersShown, headline_basis, show_testers
from server.pages.claims import other_claims, show_claims
from server.pages.methods import method_links
from server.pages.pictures import show_figure
from server.pages.rows import figure_path, show_changes, show_plate, show_runs
from server.pages.shapes import (
    ChangeShown,
    ClaimShown,
    FigureShown,
    Head,
    Link,
    RunShown,
    Value,
)
from server.wording.counts import basis_line, show_date
from server.wording.figures import NOTHING_PRINTED, show_metric, show_power, unbroken
from server.wording.sentences import appliance_sentence


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of a sentence; `kind` is how it is set: printed, measured or plain."""

    text: str
    kind: str = ""


@dataclass(frozen=True, slots=True)
class AppliancePage:
    head: Head
    name: str
    basis: str
    sentence: tuple[Part, ...]
    rests_on: str | None
    how_sure: tuple[Link, ...]
    heads: tuple[Value, ...]
    plate: tuple[Value, ...]
    claims: tuple[ClaimShown, ...]
    load: tuple[FigureShown, ...]
    watts: FigureShown | None
    testers: TestersShown | None
    runs: tuple[RunShown, ...]
    other_claims: tuple[Value, ...]
    changes: tuple[ChangeShown, ...]
    side_by_side_href: str
    exports: tuple[Link, ...]
    people: AppliancePeople


def appliance_path(view: ApplianceView) -> str:
    return f"/appliances/{view.appliance.public_id}-{view.appliance.slug}"


def appliance_name(view: ApplianceView) -> str:
    return f"{view.appliance.content.maker} {view.appliance.content.model}"


def appliance_page(
    view: ApplianceView,
    *,
    readings: Sequence[ClaimReading],
    pooled: Sequence[MetricPooling] = (),
    people: AppliancePeople | None = None,
) -> AppliancePage:
    """`readings`: the power claims beside the figures of the run the headline stands on. `pooled`:
    the headline figures over all testers."""
    path, name = appliance_path(view), appliance_name(view)
    reduction = view.best.reduction if view.best is not None else None
    sentence = appliance_sentence(view, readings)
    api = f"/api/v1/appliances/{view.appliance.public_id}"
    watts = where_the_watts_go(reduction) if reduction is not None else None
    has_load = reduction is not None and bool(reduction.points or reduction.curves)
    return AppliancePage(
        head=Head(
            title=name,
            description=sentence,
            path=path,
            section="appliances",
            json_path=api,
            kind="article",
        ),
        name=name,
        basis=_basis(view),
        sentence=_set_apart(sentence, view, readings),
        rests_on=_rests_on(view, pooled),
        how_sure=method_links(("uncertainty", "How sure is this?")),
        heads=_heads(view, readings),
        plate=show_plate(view.plate),
        claims=show_claims(
            readings, plate=view.plate, run_id=view.best.public_id if view.best else None
        ),
        load=_load(reduction) if reduction and has_load else (),
        watts=show_figure(watts, explore=False) if watts is not None else None,
        testers=show_testers(pooled),
        runs=show_runs(view.runs),
        other_claims=other_claims(view.claims, readings=readings),
        changes=show_changes(view.journal),
        side_by_side_href=f"/side-by-side?appliance={view.appliance.public_id}",
        exports=_exports(view),
        people=people or AppliancePeople(),
    )


def _set_apart(
    sentence: str, view: ApplianceView, readings: Sequence[ClaimReading]
) -> tuple[Part, ...]:
    """The sentence with the printed and the measured figure in their own ink."""
    parts = [Part(sentence)]
    wanted: list[tuple[str, str]] = []
    if readings:
        wanted.append((unbroken(readings[0].claim.value_typed), "printed"))
    if view.best is not None and view.best.reduction is not None:
        for name in (N.SHAFT_POWER_MAX_STEADY, N.SHAFT_POWER_AT_RATED_CURRENT):
            wanted.append((show_metric(view.best.reduction.metrics.get(name)).text, "measured"))
    for figure, kind in wanted:
        last = parts[-1].text
        before, found, after = last.partition(figure)
        if found:
            parts[-1:] = [Part(before), Part(figure, kind), Part(after)]
    return tuple(part for part in parts if part.text)


def _basis(view: ApplianceView) -> str:
    words = [view.appliance.content.category.capitalize()]
    n_published = sum(run.state is RunState.PUBLISHED for run in view.runs)
    if n_published:
        words.append(basis_line(n_published, view.n_specimens, view.n_testers))
        newest = max(run.tested_on or run.created_at.date() for run in view.runs)
        words.append(f"last run {show_date(newest)}")
    else:
        words.append("no published run yet")
    if view.appliance.content.market:
        words.append(f"market: {view.appliance.content.market}")
    if view.appliance.content.produced:
        words.append(_made(view.appliance.content.produced))
    return " · ".join(words)


def _made(produced: str) -> str:
    """ "made 2023–24", and for "2023–", which is still made, "made since 2023"."""
    begun = produced.rstrip("–- ")
    return f"made {produced}" if begun == produced else f"made since {begun}"


def _rests_on(view: ApplianceView, pooled: Sequence[MetricPooling]) -> str | None:
    if view.best is None:
        return None
    return (
        f"The figures are those of one run, the newest published brake run, by "
        f"{view.best.tester}{_made_by(view.best)}. {headline_basis(pooled)}"
    )


def _made_by(run: RunView) -> str:
    return f", method {run.reduction.method_version}" if run.reduction is not None else ""


def _heads(view: ApplianceView, readings: Sequence[ClaimReading]) -> tuple[Value, ...]:
    """Printed, at rated current, the highest steady, efficiency: the four that are asked for."""
    if view.best is None or view.best.reduction is None:
        return ()
    claim = readings[0].claim if readings else None
    typed = claim.value_typed if claim is not None else None
    rows = [_printed(claim)]
    rows += [
        _figure("shaft, at rated current", view.best, N.SHAFT_POWER_AT_RATED_CURRENT, typed),
        _figure("shaft, highest steady", view.best, N.SHAFT_POWER_MAX_STEADY, typed),
        _figure("best efficiency", view.best, N.EFFICIENCY_MAX),
    ]
    return tuple(rows)


N = MetricName


def _printed(claim: Claim | None) -> Value:
    if claim is None:
        return Value("power on the box", NOTHING_PRINTED, is_missing=True)
    typed = unbroken(claim.value_typed)
    in_si = show_power(claim.value_si)
    note = None if typed == in_si else in_si
    return Value("printed", typed, note=note, is_printed=True)


def _figure(label: str, run: RunView, name: MetricName, typed: str | None = None) -> Value:
    metric = run.reduction.metrics.get(name) if run.reduction is not None else None
    shown = show_metric(metric, like=typed)
    href = None if shown.is_missing else figure_path(run.public_id, name)
    return Value(label, shown.text, note=shown.beside, href=href, is_missing=shown.is_missing)


def _load(reduction: Reduction) -> tuple[FigureShown, ...]:
    links = method_links(("load-line", "How the curves are fitted"))
    return (show_figure(along_the_load(reduction), links=links),)


def _exports(view: ApplianceView) -> tuple[Link, ...]:
    own = view.appliance.public_id
    return (
        Link("This page as JSON", f"/api/v1/appliances/{own}"),
        Link("Its figures, testers pooled, as JSON", f"/api/v1/appliances/{own}/pooled"),
        Link("Its runs as CSV", f"/api/v1/runs?appliance={own}&format=csv"),
    )
