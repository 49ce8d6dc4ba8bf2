"""Set the figures of one method beside those of another."""

from collections.abc import Mapping

from server.model.changes import MetricChange
from server.model.measured import Metric
from server.model.words import MetricName

# Rebuilt figures are identical on one machine; elsewhere they agree to this.
SAME_REL = 1e-9
NOT_MADE = "this method does not make it"
Metrics = Mapping[MetricName, Metric]


def compare_figures(before: Metrics, after: Metrics) -> tuple[MetricChange, ...]:
    """The figures that differ, in the order of their names.

    Parameters
    ----------
    before, after : figures of the same run by two methods, SI.

    Returns
    -------
    One MetricChange per figure whose value or standard uncertainty differs by more than 1e-9
    relative, or that is a lower bound or missing in one alone.

    Notes
    -----
    A figure's move is counted in its own standard uncertainty, that of `before` (of `after` where
    the old one states none): n_u = (after - before) / u. Common practice, no source: both come
    from one recording, so the spread between runs is no part of it.
    """
    pairs = ((name, before.get(name), after.get(name)) for name in MetricName)
    return tuple(pair_figures(name, old, new) for name, old, new in pairs if not _is_same(old, new))


def pair_figures(name: MetricName, old: Metric | None, new: Metric | None) -> MetricChange:
    """One figure beside itself, whether it differs or not; None: that method does not make it."""
    old = old or Metric.missing(name, NOT_MADE)
    new = new or Metric.missing(name, NOT_MADE)
    return MetricChange(name, old, new, _in_uncertainties(old, new))


def _is_same(old: Metric | None, new: Metric | None) -> bool:
    if old is None or new is None:
        return old is new
    return (
        _is_close(old.value, new.value)
        and _is_close(old.standard_uncertainty, new.standard_uncertainty)
        and (old.lower_bound, old.reason) == (new.lower_bound, new.reason)
    )


def _is_close(old: float | None, new: float | None) -> bool:
    if old is None or new is None:
        return old is new
    return abs(new - old) <= SAME_REL * max(abs(old), abs(new))


def _in_uncertainties(old: Metric, new: Metric) -> float | None:
    if old.value is None or new.value is None:
        return None
    if new.value == old.value:
        return 0.0
    u = old.standard_uncertainty or new.standard_uncertainty
    return (new.value - old.value) / u if u else None
