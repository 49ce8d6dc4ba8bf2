"""Names and one-line explanations of the figures of run kinds beside the brake run."""

from server.model.words import MetricName

M = MetricName

# name -> (label, one line of explanation)
KIND_METRICS: dict[MetricName, tuple[str, str]] = {
    M.ROTOR_INERTIA: (
        "Rotor's moment of inertia",
        "How hard the rotor is to speed up or slow down, from how fast a known drag slows it.",
    ),
    M.DRAG: (
        "Drag torque at the highest speed",
        "What slows the shaft with no drive, at the highest speed of the run-down: inertia times "
        "deceleration.",
    ),
    M.DRAG_CONSTANT: (
        "Drag, part that stays the same",
        "The part of the drag torque that does not change with speed, as dry friction.",
    ),
    M.DRAG_LINEAR: (
        "Drag, part in proportion to speed",
        "The part of the drag torque that grows in proportion to speed, as oil and eddy currents.",
    ),
    M.DRAG_QUADRATIC: (
        "Drag, part in proportion to speed squared",
        "The part of the drag torque that grows with the square of speed, as moving air.",
    ),
    M.SPEED_HIGHEST: (
        "Highest speed of the run-down",
        "Where the fit of the run-down begins: just under the speed it fell from. Drag, "
        "deceleration and stored energy are stated there.",
    ),
    M.DECELERATION: (
        "Deceleration at the highest speed",
        "How fast the speed falls with no drive, at the highest speed of the run-down.",
    ),
    M.STORED_ENERGY: (
        "Energy stored at the highest speed",
        "Half the moment of inertia of what turned times the square of its speed. It was put in "
        "while the motor ran up.",
    ),
    M.SPEED_AT_MAX_MOMENTARY_POWER: (
        "Speed, at the highest momentary power",
        "Speed of the shaft where its momentary power is highest.",
    ),
    M.TORQUE_AT_MAX_MOMENTARY_POWER: (
        "Torque, at the highest momentary power",
        "Torque at the motor's shaft where its momentary power is highest.",
    ),
    M.OPERATING_SPEED: (
        "Speed, in use",
        "Speed of the motor in the assembled appliance, over the longest steady stretch.",
    ),
    M.SHAFT_POWER_IN_USE: (
        "Shaft, in use",
        "Shaft power at the speed in use, read off the curve that a brake run of the same "
        "appliance gave.",
    ),
    M.INPUT_POWER_IN_USE: (
        "From the wall, in use",
        "Real power drawn from the wall in use, as measured.",
    ),
    M.INPUT_POWER_BY_CURVE: (
        "From the wall, by the brake run's curve",
        "Real power that the brake run's curve gives at the speed in use; the second way to the "
        "same figure.",
    ),
    M.AGREEMENT_Z: (
        "Agreement of the two ways (z)",
        "Input power measured in use minus that by the curve, over the standard uncertainty of "
        "the difference. Beyond two either way, the two do not describe the same motor state.",
    ),
    M.VOLTAGE_IN_USE: ("Voltage, in use", "Voltage at the appliance in use."),
    M.CURRENT_IN_USE: ("Current, in use", "Current drawn in use."),
    M.POWER_FACTOR_IN_USE: (
        "Power factor, in use",
        "Real power divided by volts times amperes, in use.",
    ),
    M.SHAFT_POWER_ROTOR_HELD: (
        "Shaft, rotor held",
        "Shaft power is torque times speed; a held rotor has no speed, so its shaft power is "
        "zero by definition, however large the torque.",
    ),
    M.TORQUE_ROTOR_HELD: (
        "Torque, rotor held",
        "Torque the motor makes while its rotor is held still.",
    ),
    M.CURRENT_ROTOR_HELD: ("Current, rotor held", "Current drawn while the rotor is held still."),
    M.VOLTAGE_ROTOR_HELD: ("Voltage, rotor held", "Voltage while the rotor is held still."),
    M.POWER_FACTOR_ROTOR_HELD: (
        "Power factor, rotor held",
        "Real power divided by volts times amperes while the rotor is held still.",
    ),
}
