"""Which stretches of a run a figure rests on: times, loads, rows."""

from collections.abc import Callable
from dataclasses import dataclass

from server.model.results import LoadPoint, Reduction, Segment, rows_of_point
from server.model.words import Channel, MetricName, RunKind, SegmentKind
from server.wording.figures import show_quantity
from server.wording.labels import segment_word
from server.wording.numbers import NB_SPACE, fixed

N = MetricName
NEAR_EACH_SIDE = 2
MOMENTARY = frozenset(
    {
        N.SHAFT_POWER_MAX_MOMENTARY,
        N.BRAKE_READING_WHILE_SLOWING,
        N.SPEED_AT_MAX_MOMENTARY_POWER,
        N.TORQUE_AT_MAX_MOMENTARY_POWER,
    }
)
FREE = frozenset({N.FREE_SPEED, N.TORQUE_AT_FREE_SPEED})
# What a figure is called after: the torque of the place on the load line where it was read.
PLACES: tuple[tuple[str, MetricName], ...] = (
    ("at_rated_current", N.TORQUE_AT_RATED_CURRENT),
    ("max_steady", N.TORQUE_AT_MAX_STEADY_POWER),
    ("efficiency_max", N.TORQUE_AT_EFFICIENCY_MAX),
)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of the recording in words, and its rows as read (first and last, from 0)."""

    what: str
    when: str
    reading: str
    rows: tuple[int, int] | None


@dataclass(frozen=True, slots=True)
class RestsOn:
    """`near`: what the figure was read at or between; `others`: what else its fit rests on."""

    sentence: str
    near: tuple[Stretch, ...]
    others: tuple[Stretch, ...] = ()


def place_of(name: MetricName) -> MetricName | None:
    """The torque at which a figure was read off the load line; None: it was read elsewhere."""
    return next((torque for part, torque in PLACES if part in name.value), None)


def rests_on(reduction: Reduction, name: MetricName) -> RestsOn:
    """The load points or segments behind one figure."""
    points = reduction.points
    if reduction.kind is not RunKind.BRAKE:
        return _segments(reduction, "The figure rests on this run as a whole.", lambda s: True)
    if name in FREE:
        return _segments(
            reduction,
            "Read where the motor ran free.",
            lambda s: s.kind is SegmentKind.FREE_RUNNING,
        )
    if name is N.SHAFT_POWER_BEST_DWELL and points:
        dwells = [p for p in points if p.is_dwell]
        best = max(dwells or points, key=lambda p: p.shaft_power_w)
        return RestsOn("The steady load with the highest mean power.", (_point(best, reduction),))
    if name in MOMENTARY or not points:
        return _segments(
            reduction,
            "Searched in every stretch after the run-up, window by window.",
            lambda s: s.kind not in (SegmentKind.OFF, SegmentKind.RUN_UP),
        )
    return _on_the_line(reduction, name)


def _segments(reduction: Reduction, sentence: str, is_wanted: Callable[[Segment], bool]) -> RestsOn:
    wanted = [s for s in reduction.segments if is_wanted(s)]
    if not wanted:
        wanted = list(reduction.segments)
        sentence = "The run was not divided further for this figure."
    return RestsOn(sentence, tuple(_segment(s, reduction) for s in wanted))


def _on_the_line(reduction: Reduction, name: MetricName) -> RestsOn:
    """The loads next to the place on the line, then the rest of what the line was fitted to."""
    place = place_of(name)
    torque = reduction.metrics.get(place) if place is not None else None
    ordered = sorted(reduction.points, key=lambda p: p.torque_nm)
    if torque is None or torque.value is None:
        return RestsOn("Rests on all measured loads.", tuple(_point(p, reduction) for p in ordered))
    at = torque.value
    below = [p for p in ordered if p.torque_nm <= at][-NEAR_EACH_SIDE:]
    above = [p for p in ordered if p.torque_nm > at][:NEAR_EACH_SIDE]
    near = [*below, *above]
    others = [p for p in ordered if p not in near]
    words = show_quantity(at, torque.standard_uncertainty, "N m")
    return RestsOn(
        f"Read off the fit at {words}. The measured loads next to that:",
        tuple(_point(p, reduction) for p in near),
        tuple(_point(p, reduction) for p in others),
    )


def _point(point: LoadPoint, reduction: Reduction) -> Stretch:
    torque = show_quantity(point.torque_nm, point.u_torque_nm, "N m")
    power = show_quantity(point.shaft_power_w, point.u_shaft_power_w, "W")
    return Stretch(
        what="steady load" if point.is_dwell else "bin of a sweep",
        when=_when(point.start_s, point.end_s, reduction),
        reading=f"{torque}, {power}",
        rows=rows_of_point(point, reduction.segments),
    )


def _segment(segment: Segment, reduction: Reduction) -> Stretch:
    return Stretch(
        what=segment_word(segment.kind),
        when=_when(segment.start_s, segment.end_s, reduction),
        reading="",
        rows=(segment.first_row, segment.last_row),
    )


def _when(start_s: float, end_s: float, reduction: Reduction) -> str:
    if Channel.TIME not in reduction.channels_used:
        return "no time noted"
    if start_s == end_s:
        return f"{fixed(start_s, 2)}{NB_SPACE}s"
    return f"{fixed(start_s, 2)} to {fixed(end_s, 2)}{NB_SPACE}s"
