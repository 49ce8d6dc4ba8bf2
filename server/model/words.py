"""The field's words as enums, stored and sent by value."""

from enum import StrEnum


class Channel(StrEnum):
    """What a column of a log can mean. A column that fits none is kept under its own name."""

    TIME = "time"
    VOLTAGE = "voltage"
    CURRENT = "current"
    POWER = "power"
    APPARENT_POWER = "apparent_power"
    POWER_FACTOR = "power_factor"
    FREQUENCY = "frequency"
    FORCE = "force"
    TORQUE = "torque"
    SPEED = "speed"
    TEMPERATURE_1 = "temperature_1"
    TEMPERATURE_2 = "temperature_2"
    TEMPERATURE_3 = "temperature_3"
    TEMPERATURE_4 = "temperature_4"
    BRAKE_SETTING = "brake_setting"


# The unit each channel has inside. A power factor is a fraction, a brake setting has no unit.
CHANNEL_UNITS: dict[Channel, str] = {
    Channel.TIME: "s",
    Channel.VOLTAGE: "V",
    Channel.CURRENT: "A",
    Channel.POWER: "W",
    Channel.APPARENT_POWER: "VA",
    Channel.POWER_FACTOR: "",
    Channel.FREQUENCY: "Hz",
    Channel.FORCE: "N",
    Channel.TORQUE: "N m",
    Channel.SPEED: "rad/s",
    Channel.TEMPERATURE_1: "K",
    Channel.TEMPERATURE_2: "K",
    Channel.TEMPERATURE_3: "K",
    Channel.TEMPERATURE_4: "K",
    Channel.BRAKE_SETTING: "",
}


class RunKind(StrEnum):
    BRAKE = "brake"
    RUN_DOWN = "run_down"
    RUN_UP = "run_up"
    IN_USE = "in_use"
    LOCKED_ROTOR = "locked_rotor"
    FLUID = "fluid"


class Source(StrEnum):
    """How the readings came to be written down."""

    LOGGER = "logger"
    BY_HAND = "by_hand"
    VIDEO = "video"


class Medium(StrEnum):
    """What a fluid run moves. A brake run moves nothing."""

    AIR = "air"
    WATER = "water"


class Supply(StrEnum):
    AC = "AC"
    DC = "DC"


class MotorFamily(StrEnum):
    """`series` is the universal motor too."""

    SERIES = "series"
    PERMANENT_MAGNET = "permanent magnet"
    INDUCTION = "induction"
    UNKNOWN = "unknown"


class AbsorberType(StrEnum):
    FRICTION = "friction brake"
    EDDY_CURRENT = "eddy-current brake"
    HYSTERESIS = "hysteresis brake"
    GENERATOR = "generator"
    FAN = "fan"
    OTHER = "other"


class WindingMaterial(StrEnum):
    COPPER = "copper"
    ALUMINIUM = "aluminium"


class WindingStandard(StrEnum):
    """Whose constant turns a winding's resistance into its temperature."""

    IEC_60034 = "IEC 60034-1"
    IEC_60335 = "IEC 60335-1"
    IEEE_118 = "IEEE 118"


class RunState(StrEnum):
    """Where a run stands. `working`: stored, its figures are being made."""

    WORKING = "working"
    WAITING = "waiting"
    PUBLISHED = "published"
    RETURNED = "returned"
    WITHDRAWN = "withdrawn"
    FAILED = "failed"


class JobState(StrEnum):
    QUEUED = "queued"
    RUNNING = "running"
    DONE = "done"
    PARKED = "parked"


class Severity(StrEnum):
    INFO = "info"
    WARNING = "warning"
    ERROR = "error"


class SegmentKind(StrEnum):
    OFF = "off"
    RUN_UP = "run-up"
    FREE_RUNNING = "free running"
    STEADY_DWELL = "steady dwell"
    SWEEP = "sweep"
    RUN_DOWN = "run-down"
    FAILURE = "failure"


class Meaning(StrEnum):
    """What the word "power" on a box could stand for."""

    SHAFT_AT_RATED_CURRENT = "shaft_at_rated_current"
    SHAFT_HIGHEST_STEADY = "shaft_highest_steady"
    SHAFT_HIGHEST_MOMENTARY = "shaft_highest_momentary"
    BRAKE_READING_WHILE_SLOWING = "brake_reading_while_slowing"
    INPUT_AT_RATED_CURRENT = "input_at_rated_current"
    INPUT_AT_HIGHEST_STEADY = "input_at_highest_steady"
    INPUT_ROTOR_HELD = "input_rotor_held"
    CIRCUIT_CONTINUOUS_LIMIT = "circuit_continuous_limit"


class FindingCode(StrEnum):
    EFFICIENCY_IMPOSSIBLE = "efficiency_impossible"
    EFFICIENCY_IMPROBABLE = "efficiency_improbable"
    POWER_FACTOR_OVER_ONE = "power_factor_over_one"
    TORQUE_SIGN = "torque_sign"
    TORQUE_ZERO = "torque_zero"
    SENSOR_OVER_RANGE = "sensor_over_range"
    ABOVE_SYNCHRONOUS_SPEED = "above_synchronous_speed"
    SPEED_PULSES = "speed_pulses"
    UNIT_SLIP = "unit_slip"
    SAMPLE_RATE_LOW = "sample_rate_low"
    METER_UNFIT = "meter_unfit"
    RATED_CURRENT_NOT_REACHED = "rated_current_not_reached"
    PEAK_NOT_BRACKETED = "peak_not_bracketed"
    SUPPLY_OFF_PLATE = "supply_off_plate"
    CHANNEL_CLIPPED = "channel_clipped"
    CHANNEL_FROZEN = "channel_frozen"
    CHANNELS_LAG = "channels_lag"
    LAST_LINE_CUT = "last_line_cut"
    OUT_OF_CALIBRATION = "out_of_calibration"
    SAME_FILE = "same_file"
    TIME_DISORDERED = "time_disordered"
    RUN_ENDED_EARLY = "run_ended_early"
    NO_EFFICIENCY = "no_efficiency"
    TOO_FEW_POINTS = "too_few_points"
    INERTIA_UNKNOWN = "inertia_unknown"
    INTERVAL_DRAWN = "interval_drawn"
    AMBIENT_UNKNOWN = "ambient_unknown"
    LEADS = "leads"


class MetricName(StrEnum):
    FREE_SPEED = "free_speed"
    TORQUE_AT_FREE_SPEED = "torque_at_free_speed"
    SHAFT_POWER_AT_RATED_CURRENT = "shaft_power_at_rated_current"
    TORQUE_AT_RATED_CURRENT = "torque_at_rated_current"
    SPEED_AT_RATED_CURRENT = "speed_at_rated_current"
    EFFICIENCY_AT_RATED_CURRENT = "efficiency_at_rated_current"
    POWER_FACTOR_AT_RATED_CURRENT = "power_factor_at_rated_current"
    INPUT_POWER_AT_RATED_CURRENT = "input_power_at_rated_current"
    SHAFT_POWER_MAX_STEADY = "shaft_power_max_steady"
    SHAFT_POWER_BEST_DWELL = "shaft_power_best_dwell"
    TORQUE_AT_MAX_STEADY_POWER = "torque_at_max_steady_power"
    SPEED_AT_MAX_STEADY_POWER = "speed_at_max_steady_power"
    CURRENT_AT_MAX_STEADY_POWER = "current_at_max_steady_power"
    EFFICIENCY_AT_MAX_STEADY_POWER = "efficiency_at_max_steady_power"
    INPUT_POWER_AT_MAX_STEADY_POWER = "input_power_at_max_steady_power"
    SHAFT_POWER_MAX_MOMENTARY = "shaft_power_max_momentary"
    BRAKE_READING_WHILE_SLOWING = "brake_reading_while_slowing"
    EFFICIENCY_MAX = "efficiency_max"
    SHAFT_POWER_AT_EFFICIENCY_MAX = "shaft_power_at_efficiency_max"
    TORQUE_AT_EFFICIENCY_MAX = "torque_at_efficiency_max"
    POWER_FACTOR_AT_EFFICIENCY_MAX = "power_factor_at_efficiency_max"
    INPUT_POWER_AT_EFFICIENCY_MAX = "input_power_at_efficiency_max"
    INPUT_ROTOR_HELD = "input_rotor_held"
    SUPPLY_SAG = "supply_sag"
    IMPLIED_CURRENT = "implied_current"
    ROTOR_ENERGY_TIME = "rotor_energy_time"
    ROTOR_INERTIA = "rotor_inertia"
    DRAG = "drag"
    DRAG_CONSTANT = "drag_constant"
    DRAG_LINEAR = "drag_linear"
    DRAG_QUADRATIC = "drag_quadratic"
    SPEED_HIGHEST = "speed_highest"
    DECELERATION = "deceleration"
    STORED_ENERGY = "stored_energy"
    SPEED_AT_MAX_MOMENTARY_POWER = "speed_at_max_momentary_power"
    TORQUE_AT_MAX_MOMENTARY_POWER = "torque_at_max_momentary_power"
    OPERATING_SPEED = "operating_speed"
    SHAFT_POWER_IN_USE = "shaft_power_in_use"
    INPUT_POWER_IN_USE = "input_power_in_use"
    INPUT_POWER_BY_CURVE = "input_power_by_curve"
    AGREEMENT_Z = "agreement_z"
    VOLTAGE_IN_USE = "voltage_in_use"
    CURRENT_IN_USE = "current_in_use"
    POWER_FACTOR_IN_USE = "power_factor_in_use"
    SHAFT_POWER_ROTOR_HELD = "shaft_power_rotor_held"
    TORQUE_ROTOR_HELD = "torque_rotor_held"
    CURRENT_ROTOR_HELD = "current_rotor_held"
    VOLTAGE_ROTOR_HELD = "voltage_rotor_held"
    POWER_FACTOR_ROTOR_HELD = "power_factor_rotor_held"


def _metric_unit(name: MetricName) -> str:
    by_start = {
        "shaft_power": "W",
        "input_power": "W",
        "input_rotor": "W",
        "brake_reading": "W",
        "torque": "N m",
        "free_speed": "rad/s",
        "speed": "rad/s",
        "current": "A",
        "implied_current": "A",
        "efficiency": "",
        "power_factor": "",
        "supply_sag": "",
        "rotor_energy": "s",
        "rotor_inertia": "kg m^2",
        "drag_linear": "N m s/rad",
        "drag_quadratic": "N m s^2/rad^2",
        "drag": "N m",
        "deceleration": "rad/s^2",
        "stored_energy": "J",
        "operating_speed": "rad/s",
        "voltage": "V",
        "agreement": "",
    }
    return next(unit for start, unit in by_start.items() if name.value.startswith(start))


METRIC_UNITS: dict[MetricName, str] = {name: _metric_unit(name) for name in MetricName}
