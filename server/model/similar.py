"""A run's figures beside what similar runs show."""

from dataclasses import dataclass
from enum import StrEnum

from server.model.measured import Metric

# Standard deviations from which a figure is marked as far off. Common practice, no source.
FAR_OFF = 5.0


class Basis(StrEnum):
    APPLIANCE = "same appliance"
    CATEGORY = "same category"


@dataclass(frozen=True, slots=True)
class SimilarFigure:
    """One figure of a run and of similar runs.

    `typical`: pooled over the appliance's other runs, or the geometric mean over other appliances
    of the category; `low` and `high`: one standard deviation to either side. `n_off`: how many
    standard deviations the run is away, with its sign; None with a `reason`.
    """

    own: Metric
    basis: Basis | None = None
    typical: float | None = None
    low: float | None = None
    high: float | None = None
    n_runs: int = 0
    n_things: int = 0
    n_off: float | None = None
    reason: str | None = None

    @property
    def is_far(self) -> bool:
        return self.n_off is not None and abs(self.n_off) >= FAR_OFF
