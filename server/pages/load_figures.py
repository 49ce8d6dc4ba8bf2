"""Pictures of what a run shows along its load, or against speed where nothing brakes."""

from server.charts import along_the_load
from server.charts.speed_torque import torque_over_speed
from server.model.results import Reduction
from server.model.words import RunKind
from server.pages.methods import method_links
from server.pages.pictures import show_figure
from server.pages.shapes import FigureShown

# kind -> its method page; torque of these stands against speed.
OVER_SPEED = {RunKind.RUN_DOWN: "run-down", RunKind.RUN_UP: "run-up"}


def load_title(reduction: Reduction | None) -> str:
    over_speed = reduction is not None and reduction.kind in OVER_SPEED
    return "Against speed" if over_speed else "Along the load"


def show_load(reduction: Reduction | None) -> tuple[FigureShown, ...]:
    if reduction is None or not (reduction.points or reduction.curves):
        return ()
    if reduction.kind in OVER_SPEED:
        links = method_links((OVER_SPEED[reduction.kind], "How torque is read off the speed"))
        return (show_figure(torque_over_speed(reduction), links=links),)
    links = method_links(("load-line", "How the curves are fitted"))
    return (show_figure(along_the_load(reduction), links=links),)
