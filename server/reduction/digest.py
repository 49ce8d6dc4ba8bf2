"""The digest of everything that decides a run's figures."""

import hashlib
import json
from dataclasses import asdict

from server.model.bench import Plate, Rig
from server.model.later_fields import without_later
from server.model.results import ReductionOptions
from server.model.words import RunKind

# What people see but no figure depends on: how a value was typed, what a thing is called.
WITHOUT_EFFECT = frozenset({"typed", "name"})


def input_digest(
    recording_digest: str, *, kind: RunKind, plate: Plate, rig: Rig, options: ReductionOptions
) -> str:
    """Name the inputs of a reduction: equal digests mean equal figures under one method version.

    Model:  SHA-256 of canonical JSON (sorted keys, no spaces, floats by shortest repr)

    Parameters
    ----------
    recording_digest : SHA-256 of the recording's channels, hexadecimal.
    kind, plate, rig, options : what `reduce_run` is called with. Names and typed text are left
        out: they change no figure.

    Returns
    -------
    64 hexadecimal digits. Claims are not in it: they are set beside figures when shown.
    """
    content = {
        "recording": recording_digest,
        "kind": kind.value,
        "plate": _bare(asdict(plate)),
        "rig": _bare(without_later(asdict(rig))),
        # What is off is left out: an option added later changes no digest made before.
        "options": {
            k: v
            for k, v in asdict(options).items()
            if v is not False and (v is not None or k == "tested_on")
        },
    }
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), default=str, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _bare(value: object) -> object:
    if isinstance(value, dict):
        return {k: _bare(v) for k, v in value.items() if k not in WITHOUT_EFFECT}
    if isinstance(value, (list, tuple)):
        return [_bare(v) for v in value]
    return value
