"""Colours: contrast on both papers, and hues told apart with colour-vision defects.

Contrast: WCAG 2.2. Simulation of the defects: Machado, Oliveira and Fernandes (2009), "A
Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE Transactions on
Visualization and Computer Graphics 15(6), 1291-1298, severity 1.0.
"""

import math
import re
from itertools import combinations

import pytest

from server.charts.figure import MARKERS
from server.charts.palette import CHART_CSS, TOKENS, document_style

SIMULATIONS = {
    "none": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritanopia": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}
SERIES = [f"series-{i}" for i in range(1, 7)]
LIGHT, DARK = 0, 1


def linear(hexadecimal):
    parts = [int(hexadecimal[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    return [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]


def luminance(colour):
    r, g, b = linear(colour)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a, b):
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


def seen(colour, matrix):
    """OKLab (Ottosson, 2020) of a colour as seen through a simulation matrix."""
    rgb = linear(colour)
    r, g, b = (
        min(1.0, max(0.0, sum(m * c for m, c in zip(row, rgb, strict=True)))) for row in matrix
    )
    lms = (
        0.4122214708 * r + 0.5363325363 * g + 0.0514459929 * b,
        0.2119034982 * r + 0.6806995451 * g + 0.1073969566 * b,
        0.0883024619 * r + 0.2817188376 * g + 0.6299787005 * b,
    )
    long, middle, short = (max(v, 0.0) ** (1 / 3) for v in lms)
    return (
        0.2104542553 * long + 0.7936177850 * middle - 0.0040720468 * short,
        1.9779984951 * long - 2.4285922050 * middle + 0.4505937099 * short,
        0.0259040371 * long + 0.7827717662 * middle - 0.8086757660 * short,
    )


def distance(a, b, matrix):
    return 100 * math.dist(seen(a, matrix), seen(b, matrix))


@pytest.mark.parametrize("paper", [LIGHT, DARK])
@pytest.mark.parametrize("name", [*SERIES, "measured", "printed", "limit"])
def test_marks_have_three_to_one(name, paper):
    assert contrast(TOKENS[name][paper], TOKENS["paper"][paper]) >= 3.0


@pytest.mark.parametrize("paper", [LIGHT, DARK])
@pytest.mark.parametrize("name", ["ink", "soft", "link", "printed", "limit"])
def test_words_have_four_and_a_half_to_one(name, paper):
    assert contrast(TOKENS[name][paper], TOKENS["paper"][paper]) >= 4.5


@pytest.mark.parametrize("defect", SIMULATIONS)
@pytest.mark.parametrize("paper", [LIGHT, DARK])
def test_the_six_hues_stay_apart(paper, defect):
    for a, b in combinations(SERIES, 2):
        apart = distance(TOKENS[a][paper], TOKENS[b][paper], SIMULATIONS[defect])
        assert apart >= 7.0, (a, b, apart)


@pytest.mark.parametrize("defect", SIMULATIONS)
@pytest.mark.parametrize("paper", [LIGHT, DARK])
def test_no_hue_reads_as_measured_printed_or_limit(paper, defect):
    for name in SERIES:
        for other in ("measured", "printed", "limit"):
            apart = distance(TOKENS[name][paper], TOKENS[other][paper], SIMULATIONS[defect])
            assert apart >= 7.0, (name, other, apart)


def test_colour_is_never_the_only_difference():
    assert len(set(MARKERS)) == len(SERIES)


def test_every_colour_the_style_asks_for_exists():
    asked = set(re.findall(r"var\(--([a-z0-9-]+)\)", CHART_CSS))
    assert asked <= set(TOKENS)
    style = document_style()
    for name, (light, dark) in TOKENS.items():
        assert f"--{name}:{light};" in style
        assert f"--{name}:{dark};" in style


def test_no_text_is_set_under_12_px():
    sizes = [float(size) for size in re.findall(r"font-size:([\d.]+)px", CHART_CSS)]
    assert sizes
    assert min(sizes) >= 12
