"""Arrays to numbers. One door: `reduce_run`; numerics are loaded when it is first called."""

from server.reduction.claims import read_claims
from server.reduction.digest import input_digest
from server.reduction.door import reduce_run
from server.reduction.motors.winding import read_winding, winding_reference
from server.reduction.placing import place_in_use
from server.reduction.versions import METHOD_VERSIONS

__all__ = [
    "METHOD_VERSIONS",
    "input_digest",
    "place_in_use",
    "read_claims",
    "read_winding",
    "winding_reference",
    "reduce_run",
]
