"""The leads between meter and motor: taken off input power, by closed form."""

import math
from dataclasses import replace

import numpy as np
import pytest

from server.model.bench import Instrument, Rig
from server.model.recording import Recording
from server.model.results import Reduction, ReductionOptions
from server.model.words import Channel, FindingCode, MetricName, RunKind, Supply
from server.reduction import reduce_run
from server.reduction.leads import motor_voltage
from server.reduction.uncertainty.point_table import (
    CURRENT,
    FACTOR,
    INPUT,
    POWER,
    SPEED,
    PointTable,
)
from server.reduction.uncertainty.run_errors import Factors
from server.wording.findings import finding_text
from tests.reduction.simulate import Case, Simulated, permanent_magnet, simulate, universal

M = MetricName
OHM = 0.15
DC = simulate(Case(permanent_magnet(), n_dwells=8, seed=33))
AC = simulate(Case(universal(), n_dwells=8, seed=34))
INPUTS = (
    M.INPUT_POWER_AT_MAX_STEADY_POWER,
    M.EFFICIENCY_MAX,
    M.EFFICIENCY_AT_MAX_STEADY_POWER,
    M.INPUT_POWER_AT_EFFICIENCY_MAX,
    M.POWER_FACTOR_AT_EFFICIENCY_MAX,
)


def at_the_meter(run: Simulated, *, is_dc: bool) -> Recording:
    """The same run measured at the far end of its leads."""
    channels = dict(run.recording.channels)
    current = channels[Channel.CURRENT].astype(np.float64)
    if Channel.POWER in channels:
        power = channels[Channel.POWER] + OHM * current**2
        channels[Channel.POWER] = power.astype(np.float32)
    if is_dc:
        voltage = channels[Channel.VOLTAGE] + OHM * current
        channels[Channel.VOLTAGE] = voltage.astype(np.float32)
    return replace(run.recording, channels=channels)


def reduced(
    recording: Recording, run: Simulated, kind: RunKind = RunKind.BRAKE, **rig: object
) -> Reduction:
    return reduce_run(
        recording,
        kind=kind,
        plate=run.plate,
        rig=replace(run.rig, **rig),  # type: ignore[arg-type]
        options=ReductionOptions(),
    )


@pytest.mark.parametrize(("run", "is_dc"), [(DC, True), (AC, False)], ids=["dc", "ac"])
def test_figures_are_those_that_a_meter_at_the_motor_would_give(
    run: Simulated, is_dc: bool
) -> None:
    assert (run.plate.supply is Supply.DC) == is_dc
    truth = reduced(run.recording, run).metrics
    far = at_the_meter(run, is_dc=is_dc)
    found = reduced(far, run, lead_resistance_ohm=OHM).metrics
    unaware = reduced(far, run).metrics
    for name in INPUTS:
        assert found[name].value == pytest.approx(truth[name].value, rel=1e-4), name
    name = M.INPUT_POWER_AT_MAX_STEADY_POWER
    assert unaware[name].value != pytest.approx(truth[name].value, rel=5e-3)
    shaft = M.SHAFT_POWER_MAX_STEADY
    assert found[shaft].value == pytest.approx(truth[shaft].value, rel=1e-6)


def test_the_doubt_of_the_resistance_has_its_line_in_the_budget() -> None:
    far = at_the_meter(AC, is_dc=False)
    rig = {"lead_resistance_ohm": OHM, "lead_resistance_uncertainty_rel": 0.2}
    metrics = reduced(far, AC, **rig).metrics
    current = metrics[M.CURRENT_AT_MAX_STEADY_POWER].value
    (line,) = [
        one
        for one in metrics[M.INPUT_POWER_AT_MAX_STEADY_POWER].budget
        if one.component == "lead resistance"
    ]
    assert line.distribution == "normal"
    assert current is not None
    heat = OHM * current**2
    assert abs(line.standard_uncertainty * line.sensitivity) == pytest.approx(0.2 * heat, rel=0.03)
    known = reduced(far, AC, lead_resistance_ohm=OHM).metrics
    for metric in known.values():
        assert "lead resistance" not in {one.component for one in metric.budget}


# One load: volts, amperes, watts and power factor at the meter.
VOLTS, AMPS, PF, R = 120.0, 9.0, 0.95, 0.15
GAINS = (Channel.VOLTAGE, Channel.CURRENT, Channel.POWER, Channel.POWER_FACTOR)


def truth(quantity: str, e: dict[tuple[str, Channel | None], float], way: str) -> float:
    """Input power and power factor at the motor, with errors e put in at the meter."""

    def read(channel: Channel, value: float) -> float:
        return value * (1 + e.get(("gain", channel), 0.0)) + e.get(("offset", channel), 0.0)

    volts, amperes = read(Channel.VOLTAGE, VOLTS), read(Channel.CURRENT, AMPS)
    metered = read(Channel.POWER, VOLTS * AMPS * PF)
    if way == "product":
        metered = volts * amperes * read(Channel.POWER_FACTOR, PF)
    if way == "dc":
        metered = volts * amperes
    power = metered - R * (1 + e.get(("leads", None), 0.0)) * amperes**2
    return power if quantity == INPUT else power / (volts * amperes)


def one_load(way: str) -> PointTable:
    metered = VOLTS * AMPS if way == "dc" else VOLTS * AMPS * PF
    power = metered - R * AMPS**2
    volts = VOLTS - R * AMPS if way == "dc" else VOLTS
    one = np.ones(1)
    return PointTable(
        torque=one, speed=one, brake_power=one, drag_power=0 * one, inertia_power=0 * one,
        voltage=volts * one, current=AMPS * one, input_power=power * one,
        power_factor=power / (volts * AMPS) * one,
        is_input_metered=way == "meter", is_apparent_metered=False,
        u=dict.fromkeys((POWER, SPEED, CURRENT, INPUT, FACTOR), 0 * one), n_effective=one,
        lead_loss=R * AMPS**2 * one, is_drop_taken=way == "dc",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("quantity", "way"),
    [(INPUT, "meter"), (INPUT, "product"), (INPUT, "dc"), (FACTOR, "meter"), (FACTOR, "product")],
)
def test_every_error_moves_the_figure_as_it_moves_the_closed_form(quantity: str, way: str) -> None:
    every = [("gain", c) for c in GAINS] + [("offset", c) for c in GAINS] + [("leads", None)]
    sources = every
    step = 1e-6
    if way == "dc":  # no power factor is read there, and none has errors
        sources = [s for s in every if s[1] is not Channel.POWER_FACTOR]
    for source in sources:
        zero = np.zeros(2)
        drawn = {s: np.array([step, -step]) if s == source else zero for s in every}
        factors = Factors(
            torque=1 + zero, torque_offset=zero, drag=1 + zero, inertia=1 + zero,
            leads=1 + drawn["leads", None], place=zero, rated=1 + zero,
            gains={c: 1 + drawn["gain", c] for c in GAINS} | {Channel.SPEED: 1 + zero},
            offsets={c: drawn["offset", c] for c in GAINS} | {Channel.SPEED: zero},
        )  # fmt: skip
        up, down = one_load(way).drawn(quantity, factors)[0]
        expected = truth(quantity, {source: step}, way) - truth(quantity, {source: -step}, way)
        assert up - down == pytest.approx(expected, rel=1e-6, abs=1e-12), source
        assert (up + down) / 2 == pytest.approx(truth(quantity, {}, way), rel=1e-9), source


@pytest.mark.parametrize("kind", [RunKind.IN_USE, RunKind.LOCKED_ROTOR])
def test_other_kinds_take_the_leads_off_as_well(kind: RunKind) -> None:
    is_held = kind is RunKind.LOCKED_ROTOR
    time = np.arange(0, 6, 0.02)
    one = np.ones(time.size, dtype=np.float32)
    channels = {Channel.VOLTAGE: 24 * one, Channel.CURRENT: 8 * one,
                Channel.SPEED: (0 if is_held else 900) * one}  # fmt: skip
    recording = Recording(time, channels, ())
    instruments = (
        Instrument(Channel.VOLTAGE, of_reading=0.01),
        Instrument(Channel.CURRENT, of_reading=0.02),
    )
    rig = {
        "lead_resistance_ohm": OHM,
        "lead_resistance_uncertainty_rel": 0.1,
        "instruments": instruments,
    }
    metrics = reduced(recording, DC, kind, **rig).metrics
    power = metrics[M.INPUT_ROTOR_HELD if is_held else M.INPUT_POWER_IN_USE]
    assert power.value == pytest.approx(24 * 8 - OHM * 64)
    # By volts: power at the meter; by amperes: that less twice the heat; by ohms: the heat.
    parts = (192 * 0.01 / math.sqrt(3), (192 - 2 * OHM * 64) * 0.02 / math.sqrt(3), OHM * 64 * 0.1)
    assert power.standard_uncertainty == pytest.approx(math.hypot(*parts), rel=1e-6)
    voltage = metrics[M.VOLTAGE_ROTOR_HELD if is_held else M.VOLTAGE_IN_USE]
    assert voltage.value == pytest.approx(24 - OHM * 8)
    parts = (24 * 0.01 / math.sqrt(3), OHM * 8 * 0.02 / math.sqrt(3), OHM * 8 * 0.1)
    assert voltage.standard_uncertainty == pytest.approx(math.hypot(*parts), rel=1e-6)


def test_the_voltage_at_the_motor_follows_from_power_for_any_wave() -> None:
    t = np.arange(2000) / 2000
    v = 170 * np.sin(2 * np.pi * t) + 11 * np.sin(6 * np.pi * t)
    i = 12 * np.sin(2 * np.pi * t - 0.4) + 3 * np.sin(6 * np.pi * t + 1)
    inner = v - OHM * i

    def rms(x: np.ndarray) -> np.ndarray:
        return np.array([math.sqrt(float(np.mean(x**2)))])

    found = motor_voltage(
        rms(v), rms(i), np.array([np.mean(inner * i)]), Rig(lead_resistance_ohm=OHM)
    )
    assert found == pytest.approx(rms(inner), rel=1e-12)


def test_it_is_said_whether_they_were_taken_off() -> None:
    def finding(recording: Recording, **rig: object) -> list[str]:
        found = reduced(recording, AC, **rig).findings
        return [finding_text(f).message for f in found if f.code is FindingCode.LEADS]

    (message,) = finding(AC.recording, lead_resistance_ohm=OHM)
    assert "0.15 Ω" in message
    assert "taken off" in message
    channels = {c: v for c, v in AC.recording.channels.items() if c is not Channel.CURRENT}
    blind = replace(AC.recording, channels=channels)
    (message,) = finding(blind, lead_resistance_ohm=OHM)
    assert "at the meter" in message
    name = M.INPUT_POWER_AT_MAX_STEADY_POWER
    without = reduced(blind, AC).metrics[name].value
    assert reduced(blind, AC, lead_resistance_ohm=OHM).metrics[name].value == without
    assert finding(AC.recording) == []
