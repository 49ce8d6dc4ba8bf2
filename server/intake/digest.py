"""The digest of a recording: what its figures are made from, independent of any file format."""

import hashlib
from collections.abc import Iterable

from server.model.recording import Recording


def recording_digest(recording: Recording) -> str:
    """SHA-256 over canonical names and little-endian bytes: time as float64, the rest float32."""
    columns = {
        "time": recording.time_s,
        **{f"channel {c.value}": values for c, values in recording.channels.items()},
        **{f"extra {name}": values for name, values in recording.extras.items()},
    }
    return columns_digest((name, columns[name]) for name in in_order(columns))


def in_order(names: Iterable[str]) -> list[str]:
    """Names of columns in the order of the digest: time, the channels, the extras."""
    return sorted(names, key=lambda name: (name != "time", name.startswith("extra "), name))


def columns_digest(columns: Iterable[tuple[str, object]]) -> str:
    """The digest of columns that come in their order, each held only while it is its turn."""
    import numpy as np

    digest = hashlib.sha256()
    for name, values in columns:
        kind = "<f8" if name == "time" else "<f4"
        array = np.ascontiguousarray(values, dtype=kind)
        # NaN has many bit patterns; blank must always digest alike.
        if np.isnan(array).any():
            array = np.where(np.isnan(array), np.array(np.nan, dtype=kind), array)
        encoded = name.encode()
        digest.update(f"{len(encoded)}:".encode() + encoded + f":{array.size}:{kind}:".encode())
        digest.update(array.data.cast("B"))
    return digest.hexdigest()
