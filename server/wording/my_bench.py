"""One's own bench in words: what a run changed, when an instrument is due."""

from datetime import date

from server.model.my_bench import SOON_DAYS, Calibration, RunEffect
from server.model.people import ConcernKind, ConcernState
from server.model.pooled import PooledFigure
from server.model.words import METRIC_UNITS, MetricName
from server.wording.counts import count_of, show_date
from server.wording.figures import shown_scale
from server.wording.labels import channel_word, metric_label
from server.wording.pooled import show_pooled

_KINDS = {
    ConcernKind.PROBLEM: "a problem",
    ConcernKind.REQUEST: "a wish",
    ConcernKind.CONTEST: "a contested return",
    ConcernKind.NOTICE: "a complaint",
}


def effect_sentence(effect: RunEffect) -> str:
    """The pooled figure with the run and without it."""
    label = metric_label(effect.metric)
    if effect.left_out is not None:
        return f"{label}: not pooled, {effect.left_out}."
    if effect.pooled is None:
        return f"{label}: nothing to pool."
    with_it = _figure(effect.pooled, effect.metric)
    by = count_of(effect.n_testers, "tester")
    if effect.without is None:
        return f"{label}: {with_it}. So far this run alone says so."
    without = _figure(effect.without, effect.metric)
    by_others = count_of(effect.n_testers_without, "tester")
    return f"{label}: {with_it} ({by}); without this run {without} ({by_others})."


def _figure(figure: PooledFigure, metric: MetricName) -> str:
    unit, scale = shown_scale(METRIC_UNITS[metric], metric)
    return show_pooled(figure, unit, scale)


def instrument_words(calibration: Calibration) -> str:
    channel = channel_word(calibration.channel)
    return f"{channel}: {calibration.instrument}" if calibration.instrument else channel


def due_words(calibration: Calibration, *, today: date) -> str:
    """When it is due, and whether that is past or near."""
    if calibration.due is None:
        return "no date of calibration is given"
    when = show_date(calibration.due)
    left = (calibration.due - today).days
    if left < 0:
        return f"was due on {when}"
    return f"due soon, on {when}" if left <= SOON_DAYS else f"due on {when}"


def is_due(calibration: Calibration, *, today: date) -> bool:
    """Past, near, or unknown: what a tester should look at."""
    return calibration.due is None or (calibration.due - today).days <= SOON_DAYS


def concern_words(kind: ConcernKind, state: ConcernState) -> str:
    return f"{_KINDS[kind]}, {'open' if state is ConcernState.OPEN else 'settled'}"
