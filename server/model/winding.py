"""What two resistances of a winding say of its temperature."""

from dataclasses import dataclass

from server.model.measured import Measured
from server.model.words import WindingMaterial, WindingStandard


@dataclass(frozen=True, slots=True)
class WindingReference:
    """A winding's temperature as tested and the one that figures are carried to, K."""

    tested_k: float
    reference_k: float
    material: WindingMaterial
    standard: WindingStandard
    u_tested_k: float | None = None


@dataclass(frozen=True, slots=True)
class WindingReading:
    """Temperature of the hot winding and its rise above the ambient, K; None with a `reason`.

    `constant` is the resistance law's, as `standard` has it for `material`. `rise_k` is None where
    the ambient is not known either.
    """

    material: WindingMaterial
    standard: WindingStandard
    constant: float
    temperature_k: Measured | None = None
    rise_k: Measured | None = None
    reason: str | None = None
