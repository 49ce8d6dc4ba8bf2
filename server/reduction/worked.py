"""What stands between a recording and its figures; findings are judged on it."""

from dataclasses import dataclass, field

from server.model.measured import Metric
from server.model.results import Lag, LoadPoint
from server.model.words import MetricName
from server.reduction.blocks import Blocks
from server.reduction.load import Stretch
from server.reduction.loadline import LoadLine
from server.reduction.momentary import Momentary
from server.reduction.motors.choose import Choice
from server.reduction.motors.place import Place
from server.reduction.ordering import Ordered
from server.reduction.peak import Peak
from server.reduction.signals import Signals
from server.reduction.states import States
from server.reduction.torque import Shaft
from server.reduction.zero import Zero


@dataclass(frozen=True, slots=True)
class Worked:
    """Every intermediate of one brake run, in the order it was made.

    `law`: the motor's, or why there is none. `place`: of the highest steady power by that law,
    where it fits; else `order_reach_rad_s` is how far curves of other orders put it. `rated_reach`:
    how far such curves stand from the power at the plate's current, relative.
    """

    ordered: Ordered
    signals: Signals
    blocks: Blocks
    states: States
    zero: Zero
    shaft: Shaft
    lag: Lag
    stretches: tuple[Stretch, ...]
    points: tuple[LoadPoint, ...]
    brake_torque_nm: tuple[float, ...]
    brake_power_w: tuple[float, ...]
    free: LoadPoint | None
    line: LoadLine | None
    peak: Peak | None
    momentary: Momentary
    is_dc: bool
    law: Choice | str = "no load points"
    place: Place | None = None
    order_reach_rad_s: float = 0.0
    rated_reach: float = 0.0
    metrics: dict[MetricName, Metric] = field(default_factory=dict)
