"""The strokes every SVG picture is made of: strings, escaped, coordinates to 0.1 px."""

from collections.abc import Iterable, Sequence
from functools import cache
from itertools import pairwise
from math import cos, pi, sin

_ESCAPES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;"})

# Widths of characters in em, as in the widest of the common system sans faces.
_EM: dict[str, float] = {
    **dict.fromkeys("ijlI.,:;'|! \u202f\u00a0", 0.34),
    **dict.fromkeys('()[]ftr-"·/', 0.43),
    **dict.fromkeys("mwMW@%—…±÷×", 0.86),
    **dict.fromkeys("ABCDEFGHKNOPQRSUVXYZÄÖÜ", 0.72),
}
_OTHER_EM = 0.62


def escape(text: str) -> str:
    return text.translate(_ESCAPES)


def px(value: float) -> str:
    """A coordinate to 0.1 px, without a trailing ".0"."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def text_width(text: str, size: float = 13.0) -> float:
    """An estimate, on the wide side: labels must not meet, whichever sans the system has."""
    return size * sum(_EM.get(c, _OTHER_EM) for c in text)


def ellipsis(text: str, width: float, size: float = 13.0) -> str:
    """The text cut with … so that it fits; the whole stands in a title."""
    if text_width(text, size) <= width:
        return text
    kept = text
    while kept and text_width(kept + "…", size) > width:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def wrapped(text: str, width: float, size: float = 13.0) -> list[str]:
    """Lines of whole words that fit the width."""
    lines: list[str] = []
    for word in text.split(" "):
        if lines and text_width(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def text(x: float, y: float, content: str, classes: str = "t") -> str:
    """A text element; content is escaped here."""
    return f'<text class="{classes}" x="{px(x)}" y="{px(y)}">{escape(content)}</text>'


def path(d: str, classes: str) -> str:
    return f'<path class="{classes}" d="{d}"/>'


def horizontal(x1: float, x2: float, y: float) -> str:
    return f"M{px(x1)} {px(y)}H{px(x2)}"


def vertical(x: float, y1: float, y2: float) -> str:
    return f"M{px(x)} {px(y1)}V{px(y2)}"


def circle(x: float, y: float, radius: float, classes: str) -> str:
    return f'<circle class="{classes}" cx="{px(x)}" cy="{px(y)}" r="{px(radius)}"/>'


def rectangle(x: float, y: float, width: float, height: float, classes: str) -> str:
    return (
        f'<rect class="{classes}" x="{px(x)}" y="{px(y)}" '
        f'width="{px(width)}" height="{px(height)}"/>'
    )


def polygon_d(points: Iterable[tuple[float, float]]) -> str:
    return polyline_d(points) + "Z"


def polyline_d(points: Iterable[tuple[float, float]]) -> str:
    """Straight lines, each from where the last one ends as rounded: shorter, and without drift."""
    places = [(round(10 * x), round(10 * y)) for x, y in points]
    x, y = places[0]
    steps = (v for (a, b), (c, d) in pairwise(places) for v in (c - a, d - b))
    words = (f"{step / 10:g}" for step in steps)
    rest = "".join(word if word[0] == "-" else f" {word}" for word in words)
    return f"M{px(x / 10)} {px(y / 10)}" + (f"l{rest.lstrip()}" if rest else "")


def diamond_d(x: float, y: float, half: float) -> str:
    return polygon_d(((x, y - half), (x + half, y), (x, y + half), (x - half, y)))


def cross_d(x: float, y: float, half: float = 3.5) -> str:
    # Relative, so that thousands of crosses compress to little more than their places.
    across = px(2 * half)
    return f"M{px(x - half)} {px(y - half)}l{across} {across}m-{across} 0l{across}-{across}"


def _ring(radii: Sequence[float], turn: float, down: float = 0.0) -> tuple[float, float, str]:
    """A closed ring about a place: where it begins, and the rest relative to that."""
    n = len(radii)
    angles = [turn + 2 * pi * i / n for i in range(n)]
    corners = [(r * sin(a), down - r * cos(a)) for a, r in zip(angles, radii, strict=True)]
    steps = pairwise(corners)
    rest = "".join(f"l{px(x2 - x1)} {px(y2 - y1)}" for (x1, y1), (x2, y2) in steps)
    return *corners[0], rest + "Z"


@cache
def _marker(marker: str, size: float) -> tuple[float, float, str]:
    if marker == "square":
        half, side = size * 0.9, px(1.8 * size)
        return -half, -half, f"h{side}v{side}h-{side}Z"
    if marker == "triangle":
        return _ring((size * 1.3,) * 3, 0.0, size * 0.2)
    if marker == "wedge":
        return _ring((size * 1.3,) * 3, pi, -size * 0.2)
    if marker == "pentagon":
        return _ring((size * 1.15,) * 5, 0.0)
    if marker == "star":
        return _ring((size * 1.45, size * 0.6) * 5, 0.0)
    r, across = px(size), px(2 * size)
    return -size, 0.0, f"a{r} {r} 0 1 0 {across} 0a{r} {r} 0 1 0 -{across} 0"


def marker_d(marker: str, x: float, y: float, size: float = 4.5) -> str:
    """One of figure.MARKERS as path data, of about equal area."""
    right, down, rest = _marker(marker, size)
    return f"M{px(x + right)} {px(y + down)}{rest}"


def thinned(points: list[tuple[float, float]], tolerance: float = 0.4) -> list[tuple[float, float]]:
    """Fewer points of a line, in one pass: none off by more than `tolerance` px upright.

    x must not fall. A point is kept when no straight line from the last kept one passes within
    the tolerance of all since.
    """
    if len(points) < 3:
        return points
    kept = [points[0]]
    x0, y0 = points[0]
    low, high = float("-inf"), float("inf")
    last = points[0]
    for point in points[1:]:
        x, y = point
        dx = x - x0
        if dx > 0:
            bottom, top, slope = (y - tolerance - y0) / dx, (y + tolerance - y0) / dx, (y - y0) / dx
            if low <= slope <= high:
                low, high = max(low, bottom), min(high, top)
                last = point
                continue
        if last is not kept[-1]:
            kept.append(last)
        x0, y0 = last
        dx = x - x0
        low, high = float("-inf"), float("inf")
        if dx > 0:
            low, high = (y - tolerance - y0) / dx, (y + tolerance - y0) / dx
        elif point is not kept[-1]:
            kept.append(point)
            x0, y0 = point
        last = point
    if last is not kept[-1]:
        kept.append(last)
    return kept
