"""Rows on one axis, drawn: labels at the left, on a phone above; figures at the right."""

from server.charts.figure import Axis, Mark, Row, RowMark, RowsPanel, Rule
from server.charts.scale import Scale, tick_texts, ticks
from server.charts.shapes import (
    circle,
    diamond_d,
    ellipsis,
    escape,
    horizontal,
    path,
    px,
    rectangle,
    text,
    text_width,
    vertical,
)
from server.wording.figures import NOT_MEASURED, NOTHING_PRINTED

ROW_WIDE = 32.0
ROW_NARROW = 46.0
EDGE = 6.0  # room for half a mark at either end of the axis


def draw_rows(
    parts: list[str], panel: RowsPanel, *, width: int, top: float, is_narrow: bool
) -> float:
    """Draws the panel into `parts`; returns the y below it."""
    if not panel.rows:
        return top
    value_width = max((text_width(r.value) for r in panel.rows), default=0.0)
    value_width = max(value_width, text_width(panel.heading, 12.0))
    if is_narrow:
        scale = Scale(panel.axis.low, panel.axis.high, EDGE, width - EDGE)
    else:
        labels = max(text_width(f"{r.label} {r.note}") for r in panel.rows)
        start = min(labels, width * 0.32) + 20.0
        end = width - value_width - (24.0 if value_width else EDGE)
        scale = Scale(panel.axis.low, panel.axis.high, start, end)
    y = _draw_rule_labels(parts, panel.rules, scale, width=width, top=top)
    if panel.heading and not is_narrow:
        parts.append(text(width, y + 10, panel.heading, "s e"))
        y = max(y, y + 16)
    row_height = ROW_NARROW if is_narrow else ROW_WIDE
    bottom = y + row_height * len(panel.rows) + 6.0
    parts.append(_grid(panel.axis, scale, y, bottom))
    baselines = [
        y + row_height * (i + 1) - (12.0 if is_narrow else 16.0) for i in range(len(panel.rows))
    ]
    parts.append(path("".join(horizontal(scale.start, scale.end, b) for b in baselines), "rw"))
    for rule in panel.rules:
        # On a phone the words of a row stand where the lines would cross them: lines per row.
        spans = [(b - 11, b + 9) for b in baselines] if is_narrow else [(y - 4, bottom)]
        parts.append(_rule(rule, scale, [(y - 4, y + 2), *spans] if is_narrow else spans))
    for row, baseline in zip(panel.rows, baselines, strict=True):
        parts.append(_row_marks(row, scale, baseline))
        parts.append(_row_words(row, scale, baseline, width=width, is_narrow=is_narrow))
    return _axis_texts(parts, panel.axis, scale, bottom)


def _n_ticks(scale: Scale) -> int:
    return max(2, int(abs(scale.end - scale.start) / 76))


def _grid(axis: Axis, scale: Scale, top: float, bottom: float) -> str:
    values = ticks(axis.low, axis.high, _n_ticks(scale))
    return path("".join(vertical(scale.at(v), top, bottom) for v in values), "gr")


def _axis_texts(parts: list[str], axis: Axis, scale: Scale, bottom: float) -> float:
    """Tick figures under the rows, the unit behind the last; a second unit beneath."""
    y = bottom + 16.0
    _tick_row(parts, ticks(axis.low, axis.high, _n_ticks(scale)), axis.unit, 1.0, scale, y)
    if axis.second is not None:
        unit, size = axis.second
        values = ticks(axis.low / size, axis.high / size, _n_ticks(scale))
        y += 20.0
        marks = "".join(vertical(scale.at(v * size), y - 16, y - 12) for v in values)
        parts.append(path(marks, "ax"))
        _tick_row(parts, values, unit, size, scale, y)
    return y + 8.0


def _tick_row(
    parts: list[str], values: list[float], unit: str, size: float, scale: Scale, y: float
) -> None:
    texts = tick_texts(values)
    for i, (value, written) in enumerate(zip(values, texts, strict=True)):
        x = scale.at(value * size)
        if i == 0 and x - text_width(written, 12) / 2 < scale.start - EDGE:
            parts.append(text(scale.start - EDGE, y, written, "s n"))
        elif i < len(values) - 1:
            parts.append(text(x, y, written, "s n m"))
        else:
            half = text_width(written, 12) / 2
            tail = text_width(f" {unit}", 12)
            if x + half + tail <= scale.end + EDGE:
                parts.append(text(x - half * 0.9, y, f"{written} {unit}", "s n"))
            else:
                parts.append(text(scale.end + EDGE, y, f"{written} {unit}", "s n e"))


def _draw_rule_labels(
    parts: list[str], rules: tuple[Rule, ...], scale: Scale, *, width: int, top: float
) -> float:
    """Names of the upright lines above the rows; a second line where two would meet."""
    if not rules:
        return top + 6.0
    taken: list[tuple[float, float]] = []
    y = top + 14.0
    for rule in sorted(rules, key=lambda r: -r.value):
        half = text_width(rule.label, 15.5 if rule.mark is Mark.PRINTED else 13.0) / 2
        x = min(max(scale.at(rule.value), half), width - half)
        if any(x - half < right + 8 and left - 8 < x + half for left, right in taken):
            y += 18.0
            taken = []
        taken.append((x - half, x + half))
        weight = " b" if rule.mark is Mark.PRINTED else ""
        parts.append(text(x, y, rule.label, f"m c-{rule.mark.value}{weight}"))
    return y + 12.0


def _rule(rule: Rule, scale: Scale, spans: list[tuple[float, float]]) -> str:
    x = scale.at(rule.value)
    offsets = (-2.0, 2.0) if rule.mark is Mark.LIMIT else (0.0,)
    d = "".join(vertical(x + off, top, bottom) for off in offsets for top, bottom in spans)
    return f'<g class="c-{rule.mark.value}">{path(d, "hr" if len(offsets) > 1 else "l")}</g>'


def _row_marks(row: Row, scale: Scale, y: float) -> str:
    return "".join(
        f'<g class="c-{_MARK_ROLES[m.mark]}">{_row_mark(m, scale, y)}</g>' for m in row.marks
    )


_MARK_ROLES = {
    Mark.SHAFT: "measured",
    Mark.RANGE: "measured",
    Mark.WALL: "wall",
    Mark.PRINTED: "printed",
    Mark.LIMIT: "limit",
}


def _row_mark(mark: RowMark, scale: Scale, y: float) -> str:
    x = scale.at(mark.value)
    drawn = ""
    if mark.mark is Mark.RANGE:
        x, end = scale.at(mark.value), scale.at(mark.high if mark.high is not None else mark.value)
        drawn = rectangle(min(x, end), y - 3, abs(end - x), 6, "rg")
        return drawn + (_arrow(end, y) if mark.is_lower_bound else "")
    if mark.mark is Mark.PRINTED:
        return path(vertical(x, y - 9, y + 9), "st")
    if mark.low is not None and mark.high is not None:
        left, right = scale.at(mark.low), scale.at(mark.high)
        if right - left > 2:
            caps = vertical(left, y - 5, y + 5) + vertical(right, y - 5, y + 5)
            drawn = path(horizontal(left, right, y) + caps, "hr")
    if mark.is_lower_bound:
        drawn += _arrow(x + 4, y)
    if mark.mark is Mark.WALL:
        return drawn + path(diamond_d(x, y, 5.5), "o")
    return drawn + circle(x, y, 4.5, "f")


def _arrow(x: float, y: float) -> str:
    return path(f"M{px(x)} {px(y)}h18m-6 -4l6 4l-6 4", "hr")


def _row_words(row: Row, scale: Scale, y: float, *, width: int, is_narrow: bool) -> str:
    if is_narrow:
        room = width - text_width(row.value) - 24.0
        y_words, x = y - 15.0, 0.0
    else:
        room, y_words, x = scale.start - 16.0, y + 4.5, 0.0
    label = ellipsis(row.label, room)
    note = ellipsis(row.note, room - text_width(label) - 5.0) if row.note else ""
    note = "" if note == "…" else note
    is_cut = label != row.label or note != row.note
    whole = f"{row.label} {row.note}".strip()
    title = f"<title>{escape(whole)}</title>" if is_cut else ""
    tail = f'<tspan class="s" dx="5">{escape(note)}</tspan>' if note else ""
    classes = "lk" if row.href else "t"
    words = (
        f'<text class="{classes}" x="{px(x)}" y="{px(y_words)}">{escape(label)}{title}{tail}</text>'
    )
    if row.href:
        # The older spelling: what looks for a[href] expects an HTML link, whose href is text.
        words = f'<a xlink:href="{escape(row.href)}">{words}</a>'
    is_missing = row.value in (NOT_MEASURED, NOTHING_PRINTED)
    value = text(width, y_words, row.value, "n e q" if is_missing else "n e") if row.value else ""
    return words + value
