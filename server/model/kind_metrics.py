"""Which figures a run of each kind has. What can't be had is still listed, with its reason."""

from server.model.words import MetricName, RunKind

M = MetricName

_OF_A_CLAIM = (M.IMPLIED_CURRENT, M.ROTOR_ENERGY_TIME)
_RUN_DOWN = (
    M.ROTOR_INERTIA,
    M.DRAG,
    M.DRAG_CONSTANT,
    M.DRAG_LINEAR,
    M.DRAG_QUADRATIC,
    M.SPEED_HIGHEST,
    M.DECELERATION,
    M.STORED_ENERGY,
)
_RUN_UP = (
    M.FREE_SPEED,
    M.SHAFT_POWER_MAX_MOMENTARY,
    M.SPEED_AT_MAX_MOMENTARY_POWER,
    M.TORQUE_AT_MAX_MOMENTARY_POWER,
    M.STORED_ENERGY,
)
_IN_USE = (
    M.OPERATING_SPEED,
    M.SHAFT_POWER_IN_USE,
    M.INPUT_POWER_IN_USE,
    M.INPUT_POWER_BY_CURVE,
    M.AGREEMENT_Z,
    M.VOLTAGE_IN_USE,
    M.CURRENT_IN_USE,
    M.POWER_FACTOR_IN_USE,
)
_LOCKED_ROTOR = (
    M.INPUT_ROTOR_HELD,
    M.SHAFT_POWER_ROTOR_HELD,
    M.TORQUE_ROTOR_HELD,
    M.CURRENT_ROTOR_HELD,
    M.VOLTAGE_ROTOR_HELD,
    M.POWER_FACTOR_ROTOR_HELD,
)
_OTHERS = frozenset((*_RUN_DOWN, *_RUN_UP, *_IN_USE, *_LOCKED_ROTOR)) - {
    M.FREE_SPEED,
    M.SHAFT_POWER_MAX_MOMENTARY,
    M.INPUT_ROTOR_HELD,
}

METRICS_OF: dict[RunKind, tuple[MetricName, ...]] = {
    RunKind.BRAKE: tuple(n for n in M if n not in _OTHERS and n not in _OF_A_CLAIM),
    RunKind.RUN_DOWN: _RUN_DOWN,
    RunKind.RUN_UP: _RUN_UP,
    RunKind.IN_USE: _IN_USE,
    RunKind.LOCKED_ROTOR: _LOCKED_ROTOR,
}
