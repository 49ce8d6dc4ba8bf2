"""One line of an uncertainty budget."""

from dataclasses import dataclass

# The line of what the readings themselves scatter: within the run, shared with no other.
SCATTER = "scatter of the readings"
# What the highest power stands by: its speed, rad/s, beside what the readings' own errors do to it.
PLACE = "place of the highest power"
PLACE_BY_LAW = f"{PLACE}: motor's law"
PLACE_BY_CURVE = f"{PLACE}: order of the curve"
# What other curves through the same loads say of the shaft power at rated current, relative.
RATED_POWER = "shaft power at rated current"
RATED_BY_CURVE = f"{RATED_POWER}: order of the curve"


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """A component, what it is, and what it adds to one figure.

    `standard_uncertainty` is the component's own (relative where it is a gain);
    |sensitivity| times it is its contribution in the figure's unit; `share` is of the variance.
    """

    component: str
    standard_uncertainty: float
    distribution: str
    sensitivity: float
    share: float

    @property
    def contribution(self) -> float:
        return abs(self.sensitivity) * self.standard_uncertainty
