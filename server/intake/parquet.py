"""Recordings as Parquet: what a stored run is recomputed from. Lossless both ways."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.errors import InvalidSignal
from server.intake.digest import columns_digest, in_order
from server.model.recording import Recording
from server.model.words import Channel

if TYPE_CHECKING:
    import polars as pl

_NOTES = "benchledger_notes"


def write_recording(recording: Recording, path: Path) -> None:
    """Write time (float64), channels and extras (float32). Extras are marked so in their name."""
    import polars as pl

    columns: dict[str, Any] = {"time": recording.time_s}
    columns |= {f"channel {c.value}": v for c, v in recording.channels.items()}
    columns |= {f"extra {name}": v for name, v in recording.extras.items()}
    frame = pl.DataFrame(columns)
    # Half the time of zstd both ways, at one and a half times its size.
    notes = {_NOTES: json.dumps(dict(recording.notes))}
    frame.write_parquet(path, compression="lz4", metadata=notes)


def load_recording(path: Path) -> Recording:
    """Read back what `write_recording` wrote."""
    import polars as pl

    frame = pl.read_parquet(path, use_pyarrow=False, memory_map=False)
    metadata = pl.read_parquet_metadata(path)
    return Recording(
        time_s=_array(frame, "time"),
        channels={
            Channel(name.removeprefix("channel ")): _array(frame, name)
            for name in frame.columns
            if name.startswith("channel ")
        },
        extras={
            name.removeprefix("extra "): _array(frame, name)
            for name in frame.columns
            if name.startswith("extra ")
        },
        notes=json.loads(metadata.get(_NOTES, "{}")),
    )


def digest_stored(path: Path) -> tuple[str, dict[str, Any], int]:
    """Digest, notes and rows of a stored recording, read a column at a time.

    Raises
    ------
    InvalidSignal: the file is no recording of ours, or damaged.
    """
    import polars as pl

    def columns() -> Iterator[tuple[str, Any]]:
        for name in in_order(pl.read_parquet_schema(path)):
            frame = pl.read_parquet(path, columns=[name], use_pyarrow=False, memory_map=False)
            n_rows.append(frame.height)
            yield name, _array(frame, name)

    n_rows: list[int] = []
    try:
        digest = columns_digest(columns())
        notes = json.loads(pl.read_parquet_metadata(path).get(_NOTES, "{}"))
    except (pl.exceptions.PolarsError, ValueError, TypeError, OSError) as error:
        raise InvalidSignal(f"it can't be read as a recording ({error})") from error
    return digest, notes, max(n_rows, default=0)


def _array(frame: pl.DataFrame, name: str) -> Any:
    return frame.get_column(name).rechunk().to_numpy()
