"""Pictures: a FigureSpec is one description, from which table, SVG and plotly figure are made."""

from server.charts.budget import uncertainty_budget
from server.charts.claims import claim_every_way
from server.charts.figure import FigureSpec, FigureTable, figure_table
from server.charts.forest import ForestRow, forest_of_testers
from server.charts.listings import printed_and_measured
from server.charts.load import along_the_load
from server.charts.motor import motor_over_speed, motor_residuals
from server.charts.palette import CHART_CSS
from server.charts.plotly_figure import figure_plotly
from server.charts.svg import MIDDLE, NARROW, WIDE, figure_svg, figure_svg_document
from server.charts.traces import fit_residuals, run_trace
from server.charts.watts import where_the_watts_go

__all__ = [
    "CHART_CSS",
    "FigureSpec",
    "FigureTable",
    "ForestRow",
    "MIDDLE",
    "NARROW",
    "WIDE",
    "along_the_load",
    "claim_every_way",
    "figure_plotly",
    "figure_svg",
    "figure_svg_document",
    "figure_table",
    "fit_residuals",
    "motor_over_speed",
    "motor_residuals",
    "printed_and_measured",
    "forest_of_testers",
    "run_trace",
    "uncertainty_budget",
    "where_the_watts_go",
]
