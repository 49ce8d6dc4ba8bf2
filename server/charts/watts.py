"""Where the watts go: from the wall, to the shaft, and what is lost, together."""

from dataclasses import replace

from server.charts.figure import FigureSpec, FigureTable, FlowEnd, FlowPanel
from server.charts.motor import losses_at
from server.model.measured import Metric
from server.model.motor import LossPart
from server.model.results import Reduction
from server.model.words import MetricName
from server.wording.figures import show_quantity
from server.wording.motor import losses_label

# (shaft, from the wall, torque, where) in the order they are tried
_PLACES = (
    (
        MetricName.SHAFT_POWER_AT_RATED_CURRENT,
        MetricName.INPUT_POWER_AT_RATED_CURRENT,
        MetricName.TORQUE_AT_RATED_CURRENT,
        "at rated current",
    ),
    (
        MetricName.SHAFT_POWER_MAX_STEADY,
        MetricName.INPUT_POWER_AT_MAX_STEADY_POWER,
        MetricName.TORQUE_AT_MAX_STEADY_POWER,
        "at the highest steady power",
    ),
    (
        MetricName.SHAFT_POWER_AT_EFFICIENCY_MAX,
        MetricName.INPUT_POWER_AT_EFFICIENCY_MAX,
        MetricName.TORQUE_AT_EFFICIENCY_MAX,
        "at best efficiency",
    ),
)
EMPTY = "Not measured: this picture needs shaft power and the real power from the wall at one load."


def where_the_watts_go(
    reduction: Reduction, *, figure_id: str = "where-the-watts-go"
) -> FigureSpec:
    """The first of rated current, highest steady power and best efficiency that has both ends.

    What lies between wall and shaft is one stream, "losses, together", unless a model of the
    motor tells kinds of it apart.
    """
    metrics = reduction.metrics
    for shaft_name, wall_name, torque_name, where in _PLACES:
        shaft, wall = metrics.get(shaft_name), metrics.get(wall_name)
        if _is_usable(shaft) and _is_usable(wall):
            assert shaft is not None
            assert wall is not None
            return _figure(shaft, wall, where, figure_id, _at(reduction, torque_name))
    return FigureSpec(
        id=figure_id,
        title="Where the watts go",
        sentence=EMPTY,
        panels=(),
        table=FigureTable("Where the watts go", ("Part", "Power", "Share"), ()),
        empty=EMPTY,
    )


def _is_usable(metric: Metric | None) -> bool:
    return metric is not None and metric.value is not None and metric.value > 0


def _combined(a: float | None, b: float | None) -> float | None:
    """Uncertainty of a difference of two figures from separate instruments."""
    return None if a is None or b is None else (a * a + b * b) ** 0.5


def _at(reduction: Reduction, torque_name: MetricName) -> tuple[LossPart, ...]:
    """The losses by kind at a figure's torque; none where no model tells them."""
    torque = reduction.metrics.get(torque_name)
    if reduction.motor is None or torque is None or torque.value is None:
        return ()
    return losses_at(reduction.motor, torque.value)


def _figure(
    shaft: Metric, wall: Metric, where: str, figure_id: str, parts: tuple[LossPart, ...]
) -> FigureSpec:
    shaft_w, wall_w = shaft.value or 0.0, wall.value or 0.0
    lost_w = wall_w - shaft_w
    u_lost = _combined(shaft.standard_uncertainty, wall.standard_uncertainty)
    shaft_text = show_quantity(shaft_w, shaft.standard_uncertainty, "W")
    wall_text = show_quantity(wall_w, wall.standard_uncertainty, "W")
    lost_text = show_quantity(lost_w, u_lost, "W")
    title = f"Where the watts go, {where}"
    rows = (
        ("From the wall", wall_text, "100\u00a0%"),
        ("At the shaft", shaft_text, _share(shaft_w, wall_w)),
        ("Losses, together", lost_text, _share(lost_w, wall_w)),
    )
    table = FigureTable(title, ("Part", "Power", "Share"), rows, frozenset({1, 2}))
    if lost_w < 0:
        words = (
            f"More power was read at the shaft ({shaft_text}) than from the wall ({wall_text}); "
            "the findings say what to check. There is no flow to draw."
        )
        return FigureSpec(figure_id, title, words, (), table, empty=words)
    source = FlowEnd("from the wall", wall_w, wall_text, "wall")
    at_shaft = FlowEnd("shaft", shaft_w, shaft_text, "measured")
    if parts:
        told = f"Of {wall_text} from the wall, {shaft_text} reach the shaft {where}; "
        return _by_kind(
            FigureSpec(figure_id, title, told, (), table), source, at_shaft, lost_w, parts
        )
    panel = FlowPanel(source, (at_shaft, FlowEnd("losses, together", lost_w, lost_text, "loss")))
    sentence = (
        f"Of {wall_text} from the wall, {shaft_text} reach the shaft {where}; {lost_text} are lost "
        "in copper, iron, friction and windage, together."
    )
    notes = ("A brake run does not tell the kinds of loss apart; they are drawn as one.",)
    return FigureSpec(figure_id, title, sentence, (panel,), table, notes=notes)


def _by_kind(
    spec: FigureSpec,
    source: FlowEnd,
    at_shaft: FlowEnd,
    lost_w: float,
    parts: tuple[LossPart, ...],
) -> FigureSpec:
    """The same figure with the loss in parts. Streams share what was measured as the model does."""
    total = sum(part.power_w for part in parts)
    texts = [show_quantity(p.power_w, p.standard_uncertainty, "W") for p in parts]
    labels = [losses_label(p.kinds) for p in parts]
    ends = tuple(
        FlowEnd(label, lost_w * part.power_w / total, words, "loss")
        for label, part, words in zip(labels, parts, texts, strict=True)
    )
    rows = tuple(
        (f"Of it {label}", words, _share(part.power_w, source.value))
        for label, part, words in zip(labels, parts, texts, strict=True)
    )
    by_kind = ", ".join(f"{words} in {name}" for words, name in zip(texts, labels, strict=True))
    notes = [
        f"Kinds of loss by the motor's model; they add up to {show_quantity(total, None, 'W')} "
        f"where {show_quantity(lost_w, None, 'W')} were measured."
    ]
    if any(len(part.kinds) > 1 for part in parts):
        notes.append("Kinds in one stream can't be told apart by a run like this.")
    return replace(
        spec,
        sentence=f"{spec.sentence}by the motor's model {by_kind} are lost on the way.",
        panels=(FlowPanel(source, (at_shaft, *ends)),),
        table=replace(spec.table, rows=(*spec.table.rows, *rows)),
        notes=tuple(notes),
    )


def _share(part: float, whole: float) -> str:
    return f"{100 * part / whole:.0f}\u00a0%".replace("-", "\u2212")
