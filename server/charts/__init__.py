"""Pictures: a FigureSpec is one description, from which table, SVG and plotly figure are made."""

from server.charts.figure import FigureSpec, FigureTable, figure_table
from server.charts.listings import printed_and_measured
from server.charts.load import along_the_load
from server.charts.palette import CHART_CSS
from server.charts.plotly_figure import figure_plotly
from server.charts.svg import MIDDLE, NARROW, WIDE, figure_svg, figure_svg_document

__all__ = [
    "CHART_CSS",
    "FigureSpec",
    "FigureTable",
    "MIDDLE",
    "NARROW",
    "WIDE",
    "along_the_load",
    "figure_plotly",
    "figure_svg",
    "figure_svg_document",
    "figure_table",
    "printed_and_measured",
]
