"""Testers side by side on the appliance page: who measured what, and how well they agree."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.charts import ForestRow, forest_of_testers
from server.model.measured import Metric
from server.model.pooled import LeftOut, MetricPooling, Pooling, PublishedRun
from server.pages.methods import method_links
from server.pages.pictures import show_figure
from server.pages.shapes import FigureShown, Link
from server.wording.counts import count_of, show_date
from server.wording.figures import metric_label, shown_scale
from server.wording.pooled import (
    agreement_sentence,
    agreement_words,
    component_sentence,
    flag_words,
    flags_over_figures,
    listed,
    show_pooled,
    versions_sentence,
)

MANY_RUNS = 12  # from there on the picture has a row per tester
SUPPLY_OFF = "supply off the plate"


@dataclass(frozen=True, slots=True)
class PooledRow:
    """One figure over all testers."""

    label: str
    basis: str
    figure: str
    agreement: str
    is_apart: bool


@dataclass(frozen=True, slots=True)
class TestersShown:
    __test__ = False  # its name begins like a test class's

    figure: FigureShown | None
    sentences: tuple[str, ...]
    flags: tuple[str, ...]
    rows: tuple[PooledRow, ...]
    pieces: tuple[str, ...]
    spread: str
    left_out: tuple[str, ...]
    links: tuple[Link, ...]


def show_testers(pooled: Sequence[MetricPooling]) -> TestersShown | None:
    """The section of an appliance page; None where no run has a figure to pool."""
    told = [(one, one.pooling) for one in pooled if one.pooling is not None]
    if not told:
        return None
    # The first of those that most testers have; the order is that of what is asked for.
    main, pooling = max(told, key=lambda pair: (pair[1].n_testers, pair[1].n_results > 1))
    unit, scale = shown_scale(main.unit, main.metric)
    spread = [component_sentence(c, unit, scale) for c in pooling.components]
    label = metric_label(main.metric)
    return TestersShown(
        figure=_picture(main, pooling) if pooling.n_results > 1 else None,
        sentences=(
            f"{label}: {_low(agreement_sentence(pooling))}",
            *_alone(pooling),
            *_versions(told),
        ),
        flags=flags_over_figures([(metric_label(one.metric), p) for one, p in told]),
        rows=tuple(_row(one, found) for one, found in told),
        pieces=_pieces(main, pooling),
        spread=" ".join(f"{s}." for s in spread if s) if pooling.n_results > 1 else "",
        left_out=_left_out(pooled),
        links=method_links(("pooling", "How testers are pooled")),
    )


def headline_basis(pooled: Sequence[MetricPooling]) -> str:
    """What stands behind one run's headline figures, after the words that name the run."""
    told = [one.pooling for one in pooled if one.pooling is not None]
    n_testers = max((p.n_testers for p in told), default=0)
    if n_testers > 1:
        apart = any(agreement_words(p) == "disagree" for p in told)
        how = "which do not all agree" if apart else "which agree as far as can be told"
        return f"Figures pooled over {count_of(n_testers, 'tester')}, {how}, are below."
    if max((p.n_results for p in told), default=0) > 1:
        return "Its other runs are by the same tester: nothing to pool yet."
    return "No other run can be pooled with it yet."


def _low(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _alone(pooling: Pooling) -> tuple[str, ...]:
    if pooling.n_testers > 1:
        return ()
    if pooling.n_results > 1:
        return ("What another tester would find is not in these uncertainties.",)
    return (
        "One run alone is shown as one run, with its own uncertainty. What another piece or another"
        " tester would show is not in it.",
    )


def _versions(told: Sequence[tuple[MetricPooling, Pooling]]) -> tuple[str, ...]:
    """Said once for all figures: where the runs behind them are of different versions."""
    versions = sorted({v for one, _ in told for v in one.method_versions})
    words = versions_sentence(versions)
    return (words,) if words else ()


def _pieces(one: MetricPooling, pooling: Pooling) -> tuple[str, ...]:
    """What differs between the runs besides the testers: pieces, and the supply."""
    if pooling.n_testers < 2:
        return ()
    pieces: dict[str, str] = {}
    for run in one.runs:
        words = ", ".join(w for w in (run.specimen or "not named", run.condition) if w)
        pieces.setdefault(run.specimen_id, f"{words} ({run.tester})")
    sentences = [f"Pieces: {'; '.join(pieces.values())}."]
    off = list(dict.fromkeys(run.tester for run in one.runs if run.is_supply_off))
    if off:
        sentences.append(
            f"The supply was off the plate’s voltage when {listed(off)} measured; figures are"
            " pooled as tested."
        )
    return tuple(sentences)


def _row(one: MetricPooling, pooling: Pooling) -> PooledRow:
    unit, scale = shown_scale(one.unit, one.metric)
    runs = count_of(pooling.n_results, "run")
    testers = count_of(pooling.n_testers, "tester")
    words = agreement_words(pooling)
    names = [f"{t.tester} {flag_words(t)}" for t in pooling.testers if flag_words(t)]
    # Of two who differ each stands apart from the other: neither is named as the odd one.
    odd = f": {', '.join(names)}" if names and pooling.n_testers > 2 else ""
    return PooledRow(
        label=metric_label(one.metric),
        basis=f"{runs} by {testers}",
        figure=show_pooled(pooling.pooled, unit, scale),
        agreement=f"{words}{odd}",
        is_apart=words == "disagree" or bool(names),
    )


def _picture(one: MetricPooling, pooling: Pooling) -> FigureShown:
    rows = None
    if pooling.n_results <= MANY_RUNS:
        # Of two, each stands as far from the other.
        flags = {t.tester: flag_words(t) for t in pooling.testers if pooling.n_testers > 2}
        rows = [_run_row(run, one, flags.get(run.tester, "")) for run in one.runs]
    spec = forest_of_testers(pooling, metric=one.metric, si_unit=one.unit, rows=rows)
    return show_figure(spec, explore=False)


def _run_row(run: PublishedRun, one: MetricPooling, flag: str) -> ForestRow:
    figure: Metric = run.metrics[one.metric]
    assert figure.value is not None, "a run without a value is left out"
    piece = f"piece {run.specimen}" if run.specimen else ""
    words = [flag, SUPPLY_OFF if run.is_supply_off else "", show_date(run.tested_on), piece]
    return ForestRow(
        label=run.tester,
        value=figure.value,
        standard_uncertainty=figure.standard_uncertainty or None,
        note=", ".join(word for word in words if word),
        href=f"/runs/{run.public_id}",
    )


def _left_out(pooled: Sequence[MetricPooling]) -> tuple[str, ...]:
    """Published runs that are not pooled, one sentence for each figure and reason."""
    found: dict[tuple[str, str], list[LeftOut]] = {}
    for one in pooled:
        for left in one.left_out:
            found.setdefault((metric_label(one.metric), left.reason), []).append(left)
    return tuple(
        f"{label}, left out: {_whose(left)}; {reason}." for (label, reason), left in found.items()
    )


def _whose(left: Sequence[LeftOut]) -> str:
    names = list(dict.fromkeys(one.run.tester for one in left))
    return f"{count_of(len(left), 'run')} by {', '.join(names)}"
