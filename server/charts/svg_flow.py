"""Where the watts go, drawn: the width of a stream is its watts."""

from server.charts.figure import FlowEnd, FlowPanel
from server.charts.shapes import px, rectangle, text, text_width, wrapped

FULL = 130.0  # px of the source's stream
SHIFT = 26.0  # how far a part that does not go on drops
LINE = 16.0  # px from one line of a label to the next


def draw_flow(
    parts: list[str], panel: FlowPanel, *, width: int, top: float, is_narrow: bool
) -> float:
    """Draws the flow; the first part goes straight on, the others bend down."""
    if panel.source.value <= 0:
        return top
    per_watt = FULL / panel.source.value
    y = top + 26.0
    start = 4.0
    # Half of a narrow picture is the streams': what is said beside them goes over several lines.
    room = width * (0.5 if is_narrow else 0.62) - 20.0
    labels = [wrapped(_words(part), room) for part in panel.parts]
    end = width - max(text_width(line) for lines in labels for line in lines) - 20.0
    end = end if is_narrow else min(width * 0.62, end)
    parts.append(text(0, top + 14, _words(panel.source), "t n"))
    parts.append(f'<g class="c-wall">{rectangle(0, y, 4, FULL, "f")}</g>')
    from_y, to_y = y, y
    for i, (part, lines) in enumerate(zip(panel.parts, labels, strict=True)):
        height = part.value * per_watt
        if i > 0:
            to_y += SHIFT
        parts.append(f'<g class="c-{part.role}">{_stream(start, end, from_y, to_y, height)}')
        parts.append(f"{rectangle(end, to_y, 4, max(height, 1.0), 'f')}</g>")
        first = to_y + height / 2 + 4.5 - LINE * (len(lines) - 1) / 2
        for n, line in enumerate(lines):
            parts.append(text(end + 12, first + n * LINE, line, "t n"))
        from_y += height
        to_y += max(height, 8.0, LINE * len(lines) - 12.0)
    return to_y + 16.0


def _words(end: FlowEnd) -> str:
    return f"{end.label} {end.text}"


def _stream(start: float, end: float, from_y: float, to_y: float, height: float) -> str:
    """A bent band of constant height, from one y to another."""
    middle = px((start + end) / 2)
    left, right = px(start), px(end)
    d = (
        f"M{left} {px(from_y)}C{middle} {px(from_y)} {middle} {px(to_y)} {right} {px(to_y)}"
        f"V{px(to_y + height)}C{middle} {px(to_y + height)} {middle} {px(from_y + height)} "
        f"{left} {px(from_y + height)}Z"
    )
    return f'<path class="rg" d="{d}"/>'
