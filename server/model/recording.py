"""A checked recording: channels over time, SI, and how each column was understood."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

from server.model.measured import JsonValue
from server.model.words import Channel

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    FloatArray: TypeAlias = NDArray[np.float64] | NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the file as it was read. `channel` None: kept under its own name."""

    position: int
    header: str
    channel: Channel | None
    unit: str | None
    reason: str


@dataclass(frozen=True, slots=True)
class Recording:
    """Time in seconds from the start, float64; channels and extras float32, NaN where blank.

    time_s : (n,); channels, extras : (n,) each. `notes` are facts of the reading that become
    findings, e.g. {"last_line_cut": {"row": 1201}}.
    """

    time_s: FloatArray
    channels: Mapping[Channel, FloatArray]
    extras: Mapping[str, FloatArray] = field(default_factory=dict)
    notes: Mapping[str, JsonValue] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LogRead:
    """What the intake hands on: the recording, the column map, and how the file is written."""

    recording: Recording
    columns: tuple[Column, ...]
    dialect: Mapping[str, JsonValue]
    n_rows: int


@dataclass(frozen=True, slots=True)
class LogPreview:
    """The head of a file for the column check: lines before the header, header, first rows.

    `rows_at`: the line of the file that each row is, counted from 1 as in every message.
    `strips`: the first figures of each column as they stand in the file, None where there is none;
    empty for a column without figures.
    """

    preamble: tuple[str, ...]
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    dialect: Mapping[str, JsonValue]
    rows_at: tuple[int, ...] = ()
    problems: tuple[str, ...] = ()
    strips: tuple[tuple[float | None, ...], ...] = ()
