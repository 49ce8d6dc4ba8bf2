"""The digest of a recording: what its figures are made from, independent of any file format."""

import hashlib

from server.model.recording import Recording


def recording_digest(recording: Recording) -> str:
    """SHA-256 over canonical names and little-endian bytes: time as float64, the rest float32."""
    import numpy as np

    digest = hashlib.sha256()

    def add(name: str, values: object, kind: str) -> None:
        array = np.ascontiguousarray(values, dtype=kind)
        # NaN has many bit patterns; blank must always digest alike.
        if np.isnan(array).any():
            array = np.where(np.isnan(array), np.array(np.nan, dtype=kind), array)
        encoded = name.encode()
        digest.update(f"{len(encoded)}:".encode() + encoded + f":{array.size}:{kind}:".encode())
        digest.update(array.data.cast("B"))

    add("time", recording.time_s, "<f8")
    for channel in sorted(recording.channels, key=lambda c: c.value):
        add(f"channel {channel.value}", recording.channels[channel], "<f4")
    for name in sorted(recording.extras):
        add(f"extra {name}", recording.extras[name], "<f4")
    return digest.hexdigest()
