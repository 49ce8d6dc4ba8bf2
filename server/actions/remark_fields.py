"""The fields of a run that a remark can be tied to: the bench file's keys, and the columns."""

import re

from server.intake import bench_fields as keys
from server.model.words import Channel

_SECTIONS = {
    "appliance": frozenset(keys.APPLIANCE),
    "plate": frozenset(keys.PLATE),
    "specimen": frozenset(keys.SPECIMEN),
    "rig": frozenset(keys.RIG) | {"drag"},
    "run": frozenset(keys.RUN),
}
_NUMBERED = {
    "claim": frozenset(keys.CLAIM) | {"quantity", "value"},
    "instrument": frozenset(keys.instrument_fields(Channel.TORQUE)) | {"channel"},
    "column": frozenset({"channel", "unit"}),
}
# The file itself, and what belongs to no field.
WHOLE = ("file", "run")
_NUMBER = re.compile(r"[0-9]{1,4}")


def is_remark_field(name: str) -> bool:
    """Whether a remark can be tied to a field of that name: "plate.voltage", "column.3.unit"."""
    if name in WHOLE:
        return True
    section, _, rest = name.partition(".")
    if section in _NUMBERED:
        number, _, key = rest.partition(".")
        return _NUMBER.fullmatch(number) is not None and key in _NUMBERED[section]
    return rest in _SECTIONS.get(section, frozenset())
