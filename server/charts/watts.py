"""Where the watts go: from the wall, to the shaft, and what is lost, together."""

from server.charts.figure import FigureSpec, FigureTable, FlowEnd, FlowPanel
from server.model.measured import Metric
from server.model.results import Reduction
from server.model.words import MetricName
from server.wording.figures import show_quantity

# (shaft, from the wall, where) in the order they are tried
_PLACES = (
    (
        MetricName.SHAFT_POWER_AT_RATED_CURRENT,
        MetricName.INPUT_POWER_AT_RATED_CURRENT,
        "at rated current",
    ),
    (
        MetricName.SHAFT_POWER_MAX_STEADY,
        MetricName.INPUT_POWER_AT_MAX_STEADY_POWER,
        "at the highest steady power",
    ),
    (
        MetricName.SHAFT_POWER_AT_EFFICIENCY_MAX,
        MetricName.INPUT_POWER_AT_EFFICIENCY_MAX,
        "at best efficiency",
    ),
)
EMPTY = "Not measured: this picture needs shaft power and the real power from the wall at one load."


def where_the_watts_go(
    reduction: Reduction, *, figure_id: str = "where-the-watts-go"
) -> FigureSpec:
    """The first of rated current, highest steady power and best efficiency that has both ends.

    What lies between wall and shaft is one stream, "losses, together": a brake run does not tell
    its kinds apart.
    """
    metrics = reduction.metrics
    for shaft_name, wall_name, where in _PLACES:
        shaft, wall = metrics.get(shaft_name), metrics.get(wall_name)
        if _is_usable(shaft) and _is_usable(wall):
            assert shaft is not None
            assert wall is not None
            return _figure(shaft, wall, where, figure_id)
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


def _figure(shaft: Metric, wall: Metric, where: str, figure_id: str) -> FigureSpec:
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
    panel = FlowPanel(
        FlowEnd("from the wall", wall_w, wall_text, "wall"),
        (
            FlowEnd("shaft", shaft_w, shaft_text, "measured"),
            FlowEnd("losses, together", lost_w, lost_text, "loss"),
        ),
    )
    sentence = (
        f"Of {wall_text} from the wall, {shaft_text} reach the shaft {where}; {lost_text} are lost "
        "in copper, iron, friction and windage, together."
    )
    notes = ("A brake run does not tell the kinds of loss apart; they are drawn as one.",)
    return FigureSpec(figure_id, title, sentence, (panel,), table, notes=notes)


def _share(part: float, whole: float) -> str:
    return f"{100 * part / whole:.0f}\u00a0%".replace("-", "\u2212")
