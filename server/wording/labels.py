"""Names and one-line explanations of every figure, meaning, state, weight and stretch of a run."""

from server.model.words import (
    Channel,
    Meaning,
    MetricName,
    MotorFamily,
    RunKind,
    RunState,
    SegmentKind,
    Severity,
    Source,
)
from server.wording.kind_labels import KIND_METRICS

# name -> (label, one line of explanation)
_METRICS: dict[MetricName, tuple[str, str]] = {
    MetricName.FREE_SPEED: (
        "Speed, free running",
        "Speed with nothing but the rig's own drag on the shaft. Read where it ran, never "
        "extended to zero torque.",
    ),
    MetricName.TORQUE_AT_FREE_SPEED: (
        "Torque, free running",
        "The torque the motor still carried in its free-running stretch: drag before the sensor "
        "and what the brake left on.",
    ),
    MetricName.SHAFT_POWER_AT_RATED_CURRENT: (
        "Shaft, at rated current",
        "Mechanical power at the motor's shaft when it draws the current on its plate.",
    ),
    MetricName.TORQUE_AT_RATED_CURRENT: (
        "Torque, at rated current",
        "Torque at the motor's shaft when it draws the current on its plate.",
    ),
    MetricName.SPEED_AT_RATED_CURRENT: (
        "Speed, at rated current",
        "Speed of the motor's shaft when it draws the current on its plate.",
    ),
    MetricName.EFFICIENCY_AT_RATED_CURRENT: (
        "Efficiency, at rated current",
        "Shaft power divided by the real power drawn from the wall, at the rated current.",
    ),
    MetricName.POWER_FACTOR_AT_RATED_CURRENT: (
        "Power factor, at rated current",
        "Real power divided by volts times amperes, at the rated current.",
    ),
    MetricName.INPUT_POWER_AT_RATED_CURRENT: (
        "From the wall, at rated current",
        "Real power drawn from the wall at the current on the plate.",
    ),
    MetricName.SHAFT_POWER_MAX_STEADY: (
        "Shaft, highest steady",
        "The highest power at the shaft with speed, torque and current all steady, from the fit "
        "between the measured loads.",
    ),
    MetricName.SHAFT_POWER_BEST_DWELL: (
        "Shaft, best single dwell",
        "The highest shaft power averaged over one steady dwell, without any fit.",
    ),
    MetricName.TORQUE_AT_MAX_STEADY_POWER: (
        "Torque, at the highest steady power",
        "Torque at the motor's shaft where its steady power is highest.",
    ),
    MetricName.SPEED_AT_MAX_STEADY_POWER: (
        "Speed, at the highest steady power",
        "Speed of the motor's shaft where its steady power is highest.",
    ),
    MetricName.CURRENT_AT_MAX_STEADY_POWER: (
        "Current, at the highest steady power",
        "Current drawn where the steady shaft power is highest. Often well above the plate's.",
    ),
    MetricName.EFFICIENCY_AT_MAX_STEADY_POWER: (
        "Efficiency, at the highest steady power",
        "Shaft power divided by the real power drawn, where the steady shaft power is highest.",
    ),
    MetricName.INPUT_POWER_AT_MAX_STEADY_POWER: (
        "From the wall, at the highest steady power",
        "Real power drawn from the wall where the steady shaft power is highest.",
    ),
    MetricName.SHAFT_POWER_MAX_MOMENTARY: (
        "Shaft, highest momentary",
        "The highest shaft power over a short window (100 ms unless the run says otherwise), "
        "with the power of slowing or speeding masses taken out; the run-up is left out.",
    ),
    MetricName.BRAKE_READING_WHILE_SLOWING: (
        "Brake's reading, rotor slowing",
        "What the brake alone reads while the motor slows. It holds energy the rotor stored "
        "earlier, so it is not power the motor makes at that moment.",
    ),
    MetricName.EFFICIENCY_MAX: (
        "Efficiency, best",
        "The highest ratio of shaft power to real power drawn, anywhere along the load.",
    ),
    MetricName.SHAFT_POWER_AT_EFFICIENCY_MAX: (
        "Shaft, at best efficiency",
        "Mechanical power at the shaft where the efficiency is highest.",
    ),
    MetricName.TORQUE_AT_EFFICIENCY_MAX: (
        "Torque, at best efficiency",
        "Torque at the motor's shaft where the efficiency is highest.",
    ),
    MetricName.POWER_FACTOR_AT_EFFICIENCY_MAX: (
        "Power factor, at best efficiency",
        "Real power divided by volts times amperes, where the efficiency is highest.",
    ),
    MetricName.INPUT_POWER_AT_EFFICIENCY_MAX: (
        "From the wall, at best efficiency",
        "Real power drawn from the wall where the efficiency is highest.",
    ),
    MetricName.INPUT_ROTOR_HELD: (
        "From the wall, rotor held",
        "Real power drawn while the rotor is held still. Nothing turns, so none of it reaches "
        "the shaft as power.",
    ),
    MetricName.SUPPLY_SAG: (
        "Supply sag",
        "How far the supply's voltage falls between free running and the heaviest load, "
        "as a share of the free-running voltage.",
    ),
    MetricName.IMPLIED_CURRENT: (
        "Current the claim would need",
        "What the appliance would draw if the printed power were at the shaft at the best "
        "efficiency measured, at the plate's voltage and the power factor of that point.",
    ),
    MetricName.ROTOR_ENERGY_TIME: (
        "Time the rotor's energy could fill the gap",
        "How long the energy stored in the turning rotor could make up the difference between "
        "the highest steady power and the printed one.",
    ),
}

# meaning -> (label, one line)
_MEANINGS: dict[Meaning, tuple[str, str]] = {
    Meaning.SHAFT_AT_RATED_CURRENT: (
        "Shaft, at rated current",
        "Mechanical power at the shaft when the motor draws the current on its plate; what it "
        "can give for as long as the plate allows.",
    ),
    Meaning.SHAFT_HIGHEST_STEADY: (
        "Shaft, highest steady",
        "The most the shaft gives with speed, torque and current steady, at whatever current "
        "that takes.",
    ),
    Meaning.SHAFT_HIGHEST_MOMENTARY: (
        "Shaft, highest momentary",
        "The most the motor itself gives over a short window, with the power of changing speed "
        "taken out.",
    ),
    Meaning.BRAKE_READING_WHILE_SLOWING: (
        "Brake's reading, rotor slowing",
        "What the brake reads while the rotor slows: the motor's power and energy the rotor "
        "stored earlier, together.",
    ),
    Meaning.INPUT_AT_RATED_CURRENT: (
        "Wall, at rated current",
        "Real power drawn from the wall at the current on the plate. Part of it becomes heat.",
    ),
    Meaning.INPUT_AT_HIGHEST_STEADY: (
        "Wall, at the highest steady load",
        "Real power drawn from the wall where the shaft gives its steady most.",
    ),
    Meaning.INPUT_ROTOR_HELD: (
        "Wall, rotor held (shaft: 0 W)",
        "Real power drawn with the rotor held still. Shaft power is torque times speed; the "
        "speed is zero, so the shaft power is zero, by definition, however large the torque.",
    ),
    Meaning.CIRCUIT_CONTINUOUS_LIMIT: (
        "Plug's circuit, continuously",
        "Plate voltage times the current the plug's circuit is made for, in volt-amperes. A "
        "limit of the supply, not something measured.",
    ),
}

SHAFT_MEANINGS = frozenset(
    {
        Meaning.SHAFT_AT_RATED_CURRENT,
        Meaning.SHAFT_HIGHEST_STEADY,
        Meaning.SHAFT_HIGHEST_MOMENTARY,
        Meaning.BRAKE_READING_WHILE_SLOWING,
    }
)

# state -> (word, what it means to a reader)
_STATES: dict[RunState, tuple[str, str]] = {
    RunState.WORKING: ("being worked out", "The log is stored; its figures are being made."),
    RunState.WAITING: ("waiting", "A finding needs a look before this run is shown to everyone."),
    RunState.PUBLISHED: ("published", "Anyone can read it, its file and its figures."),
    RunState.RETURNED: ("returned", "Sent back to its tester with a reason."),
    RunState.WITHDRAWN: ("withdrawn", "Taken back; it no longer counts in any figure."),
    RunState.FAILED: ("not worked out", "The figures could not be made; the file is kept."),
}

_SEVERITIES: dict[Severity, str] = {
    Severity.INFO: "note",
    Severity.WARNING: "check this",
    Severity.ERROR: "holds this run back",
}

_SEGMENTS: dict[SegmentKind, str] = {
    SegmentKind.OFF: "off",
    SegmentKind.RUN_UP: "run-up",
    SegmentKind.FREE_RUNNING: "free running",
    SegmentKind.STEADY_DWELL: "steady",
    SegmentKind.SWEEP: "sweep",
    SegmentKind.RUN_DOWN: "run-down",
    SegmentKind.FAILURE: "current gone",
}

_CHANNELS: dict[Channel, str] = {
    Channel.TIME: "time",
    Channel.VOLTAGE: "voltage",
    Channel.CURRENT: "current",
    Channel.POWER: "power from the wall",
    Channel.APPARENT_POWER: "apparent power",
    Channel.POWER_FACTOR: "power factor",
    Channel.FREQUENCY: "frequency",
    Channel.FORCE: "force on the arm",
    Channel.TORQUE: "torque",
    Channel.SPEED: "speed",
    Channel.TEMPERATURE_1: "temperature 1",
    Channel.TEMPERATURE_2: "temperature 2",
    Channel.TEMPERATURE_3: "temperature 3",
    Channel.TEMPERATURE_4: "temperature 4",
    Channel.BRAKE_SETTING: "brake setting",
}

_KINDS: dict[RunKind, str] = {
    RunKind.BRAKE: "Brake",
    RunKind.RUN_DOWN: "Run-down",
    RunKind.RUN_UP: "Run-up",
    RunKind.IN_USE: "In use",
    RunKind.LOCKED_ROTOR: "Locked rotor",
    RunKind.FLUID: "Air or water",
}

_SOURCES: dict[Source, str] = {
    Source.LOGGER: "logger",
    Source.BY_HAND: "by hand",
    Source.VIDEO: "read off a video",
}

_FAMILIES: dict[MotorFamily, str] = {
    MotorFamily.SERIES: "series (universal)",
    MotorFamily.PERMANENT_MAGNET: "permanent magnet",
    MotorFamily.INDUCTION: "induction",
    MotorFamily.UNKNOWN: "not stated",
}


def metric_label(name: MetricName) -> str:
    return (_METRICS | KIND_METRICS)[name][0]


def metric_help(name: MetricName) -> str:
    return (_METRICS | KIND_METRICS)[name][1]


def meaning_label(meaning: Meaning) -> str:
    return _MEANINGS[meaning][0]


def meaning_sentence(meaning: Meaning) -> str:
    """One line: what this reading of the word "power" is."""
    return _MEANINGS[meaning][1]


def state_word(state: RunState) -> str:
    return _STATES[state][0]


def state_help(state: RunState) -> str:
    return _STATES[state][1]


def severity_word(severity: Severity) -> str:
    return _SEVERITIES[severity]


def segment_word(kind: SegmentKind) -> str:
    return _SEGMENTS[kind]


def channel_word(channel: Channel) -> str:
    return _CHANNELS[channel]


def kind_word(kind: RunKind | str) -> str:
    return _KINDS[RunKind(kind)]


def source_word(source: Source) -> str:
    return _SOURCES[source]


def family_word(family: MotorFamily) -> str:
    return _FAMILIES[family]
