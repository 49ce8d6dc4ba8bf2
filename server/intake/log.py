"""A log file to a checked recording."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from server.errors import Problem, UnusableLog
from server.intake.limits import ReadLimits
from server.model.bench import ColumnChoice
from server.model.recording import Column, LogPreview, LogRead, Recording
from server.model.words import Channel, RunKind
from server.units import channel_kind, conversion, find_unit

_LIMITS = ReadLimits()


def _columns(header: list[str], choices: Sequence[ColumnChoice]) -> list[Column]:
    by_header = {c.header: c for c in choices}
    columns = []
    for position, text in enumerate(header):
        choice = by_header.get(text)
        if choice is not None:
            columns.append(
                Column(position, text, choice.channel, choice.unit, "chosen by the sender")
            )
            continue
        found = re.match(r"\s*([^\[(/,]+?)\s*(?:[\[(/,]\s*(.*?)[\])]?)?\s*$", text)
        name, unit = (found.group(1), found.group(2)) if found else (text, None)
        channel = next((c for c in Channel if name.casefold().startswith(c.value)), None)
        if channel is not None and not unit:
            unit = name[len(channel.value) :].strip("_ ") or None
        default = {Channel.SPEED: "r/min"}.get(channel) if channel else None
        if channel is not None:
            kind = channel_kind(channel)
            unit = (
                find_unit(unit, kind)
                if unit
                else (
                    default or conversion("1", kind).unit
                    if kind in {"power_factor", "brake_setting"}
                    else default
                )
            )
        columns.append(Column(position, text, channel, unit, "header"))
    return columns


def read_log(
    path: Path,
    *,
    name: str,
    choices: Sequence[ColumnChoice] = (),
    pulses_per_revolution: float | None = None,
    kind: RunKind = RunKind.BRAKE,
    limits: ReadLimits = _LIMITS,
) -> LogRead:
    """Read a whole log. Raises UnusableLog with every problem found, or TooLarge."""
    import numpy as np
    import polars as pl

    try:
        frame = pl.read_csv(path, infer_schema_length=None, comment_prefix="#")
    except pl.exceptions.PolarsError as error:
        raise UnusableLog(
            name, [Problem(f"not delimited text ({error}).", "Send the log as CSV.")]
        ) from error
    columns = _columns(frame.columns, choices)
    channels = {}
    extras = {}
    time = None
    for column in columns:
        values = frame.get_column(column.header).cast(pl.Float64, strict=False)
        array = values.fill_null(float("nan")).to_numpy()
        if column.channel is None:
            extras[column.header] = array.astype(np.float32)
        elif column.channel is Channel.TIME:
            by = conversion(column.unit or "s", "time")
            time = array * by.scale
            time = time - time.min()
        else:
            by = (
                conversion(column.unit or "", channel_kind(column.channel)) if column.unit else None
            )
            scaled = array * by.scale + by.offset if by else array
            channels[column.channel] = scaled.astype(np.float32)
    if time is None:
        raise UnusableLog(name, [Problem("there is no time column.", "Add one.")])
    return LogRead(Recording(time, channels, extras), tuple(columns), {"separator": ","}, len(time))


def preview_log(
    path: Path,
    *,
    name: str,
    choices: Sequence[ColumnChoice] = (),
    pulses_per_revolution: float | None = None,
    limits: ReadLimits = _LIMITS,
    n_rows: int = 8,
) -> LogPreview:
    """The head of a log for the column check."""
    lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    header = lines[0].split(",")
    rows = tuple(tuple(line.split(",")) for line in lines[1 : 1 + n_rows])
    return LogPreview((), tuple(_columns(header, choices)), rows, {"separator": ","})
