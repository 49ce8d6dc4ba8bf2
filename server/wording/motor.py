"""A motor's model in words, and as the JSON of `benchledger reduce --json`."""

from collections.abc import Sequence

from server.model.measured import JsonValue
from server.model.motor import (
    ChannelResiduals,
    LossKind,
    LossPart,
    ModelCurve,
    MotorFit,
    MotorParameter,
    NormalisedMetric,
    PointLosses,
    Warming,
)
from server.wording.figures import number_with_uncertainty, value_with_uncertainty
from server.wording.labels import channel_word
from server.wording.numbers import NB_SPACE

Json = dict[str, JsonValue]

PARAMETERS: dict[str, str] = {
    "resistance": "Resistance of the windings",
    "brush_drop": "Drop of both brushes",
    "drop": "Drop of brushes or switches",
    "field_constant": "Field constant",
    "saturation_current": "Current at which the iron saturates",
    "friction_torque": "Friction torque",
    "windage": "Windage, torque over speed squared",
    "drag": "Drag, torque over speed",
    "reactance": "Reactance",
    "iron_loss": "Iron loss at full flux and the highest speed",
    "power_factor": "Power factor",
    "stator_resistance": "Resistance of the stator",
    "rotor_resistance": "Resistance of the rotor, seen from the stator",
    "leakage_reactance": "Leakage reactance, of stator and rotor each",
    "magnetising_reactance": "Magnetising reactance",
    "core_conductance": "Core loss as a conductance",
    "pull_out_torque": "Pull-out torque, at plate voltage",
    "pull_out_slip": "Slip at pull-out",
}


def parameter_label(name: str) -> str:
    return PARAMETERS.get(name, name.replace("_", " ").capitalize())


POOR_REL = 0.05
SAME, CLEARLY = 2.0, 10.0  # differences of an information criterion
_UNITS = {
    "ohm": "Ω",
    "V s": "V·s",
    "V s/A": "V·s/A",
    "N m": "N·m",
    "N m s": "N·m·s",
    "N m s2": "N·m·s²",
}
_PREFIXES = ((1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))


def show_parameter(parameter: MotorParameter) -> str:
    """`0.216 ± 0.004 V·s`, small ones with a prefix; a number without unit as it is."""
    value, u = parameter.value, parameter.standard_uncertainty
    unit = _UNITS.get(parameter.unit, parameter.unit)
    if not unit:
        return number_with_uncertainty(value, u)
    size = max(abs(value), u)
    scale, prefix = next((s for s in _PREFIXES if size >= s[0]), _PREFIXES[-1])
    if scale == 1e-3 and size >= 0.01:
        scale, prefix = 1.0, ""
    return value_with_uncertainty(value / scale, u / scale, f"{prefix}{unit}")


def losses_label(kinds: Sequence[LossKind]) -> str:
    """ "iron, friction and windage": kinds that stand as one."""
    words = ["brushes" if kind is LossKind.BRUSH else kind.value for kind in kinds]
    if LossKind.ROTATION in kinds or len(words) == 1:
        return ", ".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def model_sentence(motor: MotorFit) -> str:
    """Which model stands, and how far behind the next one is."""
    if motor.model is None:
        return f"No model of the motor: {motor.reason}."
    runner_up = motor.runner_up
    head = f"{motor.model[:1].upper()}{motor.model[1:]}."
    if runner_up is None:
        return f"{head} No other model could be fitted."
    behind = runner_up.criterion_above_chosen
    if behind < -SAME:
        return (
            f"{head} A {runner_up.model} model fits better, but is not of the family on the plate "
            f"({-behind:.0f} below by the information criterion)."
        )
    if behind <= SAME:
        return f"{head} Runner-up, as good by the information criterion: {runner_up.model}."
    worse = "clearly" if behind > CLEARLY else "somewhat"
    return (
        f"{head} Runner-up, {worse} worse by the information criterion ({behind:.0f} above): "
        f"{runner_up.model}."
    )


def motor_notes(motor: MotorFit) -> tuple[str, ...]:
    """What a reader of the model must know beside it."""
    notes = []
    if motor.is_voltage_from_plate:
        notes.append("Voltage was not logged at every load; the plate's was taken there.")
    notes += [
        f"The model misses {channel_word(r.channel)} by {100 * r.rms_rel:.0f}{NB_SPACE}% of its "
        "largest value: take its constants with care."
        for r in motor.residuals
        if r.rms_rel > POOR_REL
    ]
    other = next((s for s in motor.scores if s.criterion_above_chosen < -CLEARLY), None)
    if other is not None and other.family is not motor.family:
        notes.append(f"A model of another family fits better: {other.model}.")
    warming = motor.warming
    if warming is not None and warming.is_seen:
        change = number_with_uncertainty(100 * abs(warming.speed_rel), 100 * warming.u_speed_rel)
        how = "slower" if warming.speed_rel < 0 else "faster"
        after = warming.after_s
        when = "at the end" if after is None else f"{after:.0f}{NB_SPACE}s later"
        notes.append(
            f"The first load, repeated {when}, ran "
            f"{change}{NB_SPACE}% {how}: the motor, or what it ran on, changed during the run."
        )
    return tuple(notes)


def motor_to_json(motor: MotorFit | None) -> Json | None:
    if motor is None:
        return None
    runner_up = motor.runner_up
    return {
        "family": motor.family.value,
        "model": motor.model,
        "reason": motor.reason,
        "method_version": motor.method_version,
        "parameters": {
            p.name: {
                "value": p.value,
                "standard_uncertainty": p.standard_uncertainty,
                "unit": p.unit,
                "identified": p.identified.value,
                "derived": p.is_derived,
            }
            for p in motor.parameters
        },
        "covariance": [list(row) for row in motor.covariance],
        "runner_up": runner_up.model if runner_up is not None else None,
        "models": [
            {
                "model": s.model,
                "family": s.family.value,
                "criterion_above_chosen": s.criterion_above_chosen,
                "parameters": s.n_parameters,
            }
            for s in motor.scores
        ],
        "residuals": [_residuals(r) for r in motor.residuals],
        "losses": [_losses(at) for at in motor.losses],
        "normalised": [_normalised(n) for n in motor.normalised],
        "curve": _curve(motor.curve) if motor.curve is not None else None,
        "warming": _warming(motor.warming) if motor.warming is not None else None,
        "notes": list(motor_notes(motor)),
    }


def _residuals(one: ChannelResiduals) -> Json:
    return {
        "channel": one.channel.value,
        "unit": one.unit,
        "residual": list(one.residual),
        "scatter": list(one.scatter),
        "rms_of_largest": one.rms_rel,
        "weight": list(one.weight),
    }


def _losses(at: PointLosses) -> Json:
    return {
        "torque": at.torque_nm,
        "speed": at.speed_rad_s,
        "input_power": at.input_power_w,
        "shaft_power": at.shaft_power_w,
        "parts": [_part(p) for p in at.parts],
        "beyond": at.beyond_w,
        "beyond_standard_uncertainty": at.u_beyond_w,
    }


def _part(part: LossPart) -> Json:
    return {
        "kinds": [k.value for k in part.kinds],
        "power": part.power_w,
        "standard_uncertainty": part.standard_uncertainty,
    }


def _normalised(one: NormalisedMetric) -> Json:
    return {
        "name": one.name.value,
        "basis": one.basis,
        "value": one.value,
        "standard_uncertainty": one.standard_uncertainty,
        "as_tested": one.as_tested,
        "tested_voltage": one.tested_voltage_v,
        "voltage": one.voltage_v,
        "winding_temperature": one.winding_k,
        "beyond": one.is_beyond,
        "reason": one.reason,
    }


def _warming(found: Warming) -> Json:
    return {
        "after": found.after_s,
        "speed_change": found.speed_rel,
        "speed_change_standard_uncertainty": found.u_speed_rel,
        "current_change": found.current_rel,
        "current_change_standard_uncertainty": found.u_current_rel,
    }


def _curve(curve: ModelCurve) -> Json:
    return {
        "speed": list(curve.speed_rad_s),
        "torque": list(curve.torque_nm),
        "current": list(curve.current_a),
        "input_power": list(curve.input_power_w),
        "beyond": list(curve.is_beyond),
    }
