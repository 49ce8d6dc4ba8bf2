"""The drawn pictures: well formed, within their frame, nothing too small, one mark one meaning."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from server.charts import (
    CHART_CSS,
    MIDDLE,
    NARROW,
    WIDE,
    along_the_load,
    claim_every_way,
    figure_svg,
    figure_svg_document,
    fit_residuals,
    printed_and_measured,
    run_trace,
    where_the_watts_go,
)
from server.charts.figure import FlowEnd, FlowPanel
from server.charts.shapes import text_width
from server.model.bench import Plate
from server.model.results import Trace
from tests.charts.examples import LISTINGS, READING, SEGMENTS, listing, reduction, trace

SVG = "{http://www.w3.org/2000/svg}"
WIDTHS = [WIDE, MIDDLE, NARROW, 328]
MANY_WORDS = FlowPanel(
    FlowEnd("from the wall", 1418.0, "1 418.2 ± 1.6 W", "wall"),
    (
        FlowEnd("shaft", 1383.15, "1 383.15 ± 0.16 W", "measured"),
        FlowEnd("copper of stator and rotor", 9.97, "9.97 ± 0.16 W", "loss"),
        FlowEnd("brushes, iron, friction and windage", 16.82, "16.82 ± 0.27 W", "loss"),
        FlowEnd("brushes, iron, friction, windage", 8.06, "8.06 ± 0.27 W", "loss"),
    ),
)


def figures():
    watts = where_the_watts_go(reduction())
    six = [(f"Tollan Shed {i}", reduction(scale=1 - 0.1 * i)) for i in range(6)]
    return {
        "listings": printed_and_measured(LISTINGS),
        "linked": printed_and_measured(LISTINGS, address=lambda row: f"/a?b=1&c={row.public_id}"),
        "none": printed_and_measured([]),
        "fifty": printed_and_measured([LISTINGS[i % 8] for i in range(50)]),
        "ten times": printed_and_measured([listing(hp=0.1, rated=800.0, highest=1000.0)]),
        "claim": claim_every_way(READING, plate=Plate(circuit_a=15.0)),
        "one run": along_the_load(reduction()),
        "one point": along_the_load(reduction(1, with_curves=False)),
        "no points": along_the_load(replace(reduction(), points=(), curves=())),
        "six runs": along_the_load(six),
        "watts": watts,
        "watts of many words": replace(watts, panels=(MANY_WORDS,)),
        "no watts": where_the_watts_go(replace(reduction(), metrics={})),
        "trace": run_trace(trace(), SEGMENTS),
        "no trace": run_trace(Trace({}, {})),
        "residuals": fit_residuals(reduction()),
        "no residuals": fit_residuals(reduction(with_curves=False)),
    }


FIGURES = figures()


def numbers(d):
    return [float(n) for n in re.findall(r"-?\d+\.?\d*", d)]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", FIGURES)
def test_well_formed_and_within_its_frame(name, width):
    spec = FIGURES[name]
    root = ElementTree.fromstring(figure_svg(spec, width))

    assert root.get("width") == str(width)
    height = float(root.get("height"))
    assert root.get("viewBox") == f"0 0 {width} {root.get('height')}"
    for element in root.iter(f"{SVG}text"):
        x, y = float(element.get("x")), float(element.get("y"))
        assert -0.5 <= x <= width + 0.5, element.text
        assert 0 < y <= height, element.text
    for element in root.iter(f"{SVG}circle"):
        assert 0 <= float(element.get("cx")) <= width
        assert 0 <= float(element.get("cy")) <= height


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", FIGURES)
def test_says_what_it_shows(name, width):
    spec = FIGURES[name]
    root = ElementTree.fromstring(figure_svg(spec, width))
    named = {e.get("id"): e.text for e in root if e.tag in (f"{SVG}title", f"{SVG}desc")}

    assert root.get("role") == ("group" if name == "linked" else "img")
    assert [named[key] for key in root.get("aria-labelledby").split()] == [
        spec.title,
        spec.sentence,
    ]


@pytest.mark.parametrize("name", FIGURES)
def test_uses_only_classes_that_are_styled(name):
    used = set()
    for group in re.findall(r'class="([^"]+)"', figure_svg(FIGURES[name])):
        used |= set(group.split())
    unstyled = {"t"}  # ink, as every text is
    assert all(f".{c}" in CHART_CSS for c in used - unstyled), used


@pytest.mark.parametrize("name", FIGURES)
def test_writes_no_colour_and_no_size_of_its_own(name):
    svg = figure_svg(FIGURES[name])
    assert "#" not in re.sub(r"&#?\w+;", "", svg)
    assert "style=" not in svg
    assert "font-size" not in svg


def test_a_document_carries_its_colours_for_light_and_dark():
    document = figure_svg_document(FIGURES["one run"])
    root = ElementTree.fromstring(document.encode())
    style = root.find(f"{SVG}style").text

    assert document.startswith("<?xml")
    assert "--measured:#0072b2" in style
    assert "prefers-color-scheme:dark" in style


def test_on_a_phone_labels_stand_above_their_row():
    def label_and_line(width):
        root = ElementTree.fromstring(figure_svg(FIGURES["listings"], width))
        label = next(e for e in root.iter(f"{SVG}text") if e.text == "Tollan Shed 40")
        dot = next(e for e in root.iter(f"{SVG}circle") if float(e.get("cy")) > 40)
        return float(label.get("y")), float(dot.get("cy"))

    label, line = label_and_line(NARROW)
    assert label < line - 10
    label, line = label_and_line(WIDE)
    assert abs(label - line) < 6


def test_names_from_outside_are_escaped():
    spec = printed_and_measured([listing('<script>alert("x")</script> & Co')])
    svg = figure_svg(spec)

    assert "<script" not in svg
    assert ElementTree.fromstring(svg) is not None


def test_a_long_name_is_cut_and_whole_in_its_title():
    root = ElementTree.fromstring(figure_svg(FIGURES["listings"], NARROW))
    whole = "Aldermoor Router F2 with an uncommonly long name on its box wet/dry vacuum"
    label = next(e for e in root.iter(f"{SVG}text") if (e.text or "").startswith("Aldermoor"))

    assert label.text.endswith("…")
    assert label.find(f"{SVG}title").text == whole
    value = "22.5 ± 0.5 %"
    assert text_width(label.text) + text_width(value) < NARROW


def test_links_are_kept_whole():
    root = ElementTree.fromstring(figure_svg(FIGURES["linked"]))
    links = [e.get("{http://www.w3.org/1999/xlink}href") for e in root.iter(f"{SVG}a")]
    assert links == ["/a?b=1&c=4k7p2m9xq1"] * len(LISTINGS)


def test_one_mark_one_meaning_in_the_claim():
    root = ElementTree.fromstring(figure_svg(FIGURES["claim"]))
    groups = {}
    for group in root.iter(f"{SVG}g"):
        groups.setdefault(group.get("class"), []).append(group)

    dots = [e for g in groups["c-measured"] for e in g.iter(f"{SVG}circle")]
    diamonds = [e for g in groups["c-wall"] for e in g.iter(f"{SVG}path") if e.get("class") == "o"]
    assert len(dots) == 4 + 1  # four readings at the shaft, one in the key
    assert len(diamonds) == 2 + 1  # two from the wall, the third was not measured
    assert len(groups["c-printed"]) == 1
    double = groups["c-limit"][0].find(f"{SVG}path").get("d")
    assert double.count("M") == 2


def test_a_lower_bound_has_an_arrow():
    with_arrow = figure_svg(printed_and_measured([listing(lower_bound=True)]))
    without = figure_svg(printed_and_measured([listing()]))
    assert "h18m-6 -4l6 4l-6 4" in with_arrow
    assert "h18m-6 -4l6 4l-6 4" not in without


def test_the_fit_is_dashed_beyond_the_data():
    svg = figure_svg(FIGURES["one run"])
    assert svg.count('class="d"') >= 4
    inside = replace(reduction(), curves=tuple(
        replace(c, beyond=(False,) * len(c.beyond)) for c in reduction().curves
    ))  # fmt: skip
    assert 'class="d"' not in figure_svg(along_the_load(inside))


def test_a_gap_in_the_recording_is_a_gap_in_the_line():
    svg = figure_svg(FIGURES["trace"])
    lines = re.findall(r'<path class="l" d="([^"]+)"', svg)
    assert sorted(d.count("M") for d in lines) == [1, 1, 1, 2]


def test_the_stream_widths_are_watts():
    spec = FIGURES["watts"]
    root = ElementTree.fromstring(figure_svg(spec))
    heights = [float(e.get("height")) for e in root.iter(f"{SVG}rect")]
    source, *parts = heights
    flow = spec.panels[0]

    assert sum(parts) == pytest.approx(source, abs=0.2)
    for height, part in zip(parts, flow.parts, strict=True):
        assert height / source == pytest.approx(part.value / flow.source.value, abs=0.002)


def test_streams_keep_their_room_beside_many_words():
    root = ElementTree.fromstring(figure_svg(FIGURES["watts of many words"], 328))
    ends = [float(rect.get("x")) for rect in root.iter(f"{SVG}rect")][1:]
    assert min(ends) >= 328 / 2
    words = " ".join(text.text for text in root.iter(f"{SVG}text"))
    assert "brushes, iron, friction and windage 16.82" in words


def test_pictures_are_light():
    assert len(figure_svg(FIGURES["listings"])) < 7000
    assert len(figure_svg(FIGURES["fifty"])) < 40_000
    assert len(figure_svg(FIGURES["one run"])) < 16_000


def test_an_empty_picture_says_what_would_fill_it():
    assert "The first published run fills this picture" in FIGURES["none"].empty
    for name in ("none", "no points", "no watts", "no trace", "no residuals"):
        spec = FIGURES[name]
        words = "".join(
            (e.text or "") + " "
            for e in ElementTree.fromstring(figure_svg(spec)).iter(f"{SVG}text")
        )
        assert words.strip() == spec.empty
