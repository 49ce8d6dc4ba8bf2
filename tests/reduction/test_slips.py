"""Slips of unit by a factor of eight or more are flagged; sound logs never are."""

from dataclasses import replace

import numpy as np
import pytest

from server.model.words import Channel, FindingCode, Severity
from tests.reduction.sampling import draw_case
from tests.reduction.simulate import simulate

SLIPS = [
    (Channel.TORQUE, 8.850746, "lbf·in and N·m"),
    (Channel.TORQUE, 1 / 8.850746, "lbf·in and N·m"),
    (Channel.TORQUE, 9.80665, "kgf and N"),
    (Channel.TORQUE, 1 / 12.0, "lbf·in and lbf·ft"),
    (Channel.TORQUE, 16.0, "ozf·in and lbf·in"),
    (Channel.TORQUE, 1 / 141.612, "ozf·in and N·m"),
    (Channel.SPEED, 9.549297, "r/min and rad/s"),
    (Channel.SPEED, 1 / 9.549297, "r/min and rad/s"),
    (Channel.POWER, 1000.0, "kW and W, mA and A, mV and V"),
    (Channel.POWER, 0.001, "kW and W, mA and A, mV and V"),
    (Channel.CURRENT, 1000.0, "kW and W, mA and A, mV and V"),
    (Channel.VOLTAGE, 0.001, "kW and W, mA and A, mV and V"),
]


def slip_findings(result) -> list:
    return [
        f
        for f in result.findings
        if f.code is FindingCode.UNIT_SLIP and f.severity is Severity.ERROR
    ]


@pytest.mark.parametrize(("channel", "factor", "units"), SLIPS)
@pytest.mark.parametrize("seed", [3, 4, 2])
def test_a_slip_is_flagged_with_its_units_among_the_candidates(
    reduce, channel, factor, units, seed
) -> None:
    case = replace(draw_case(seed), mode="dwells", rate_hz=50.0, with_power="power")
    run = simulate(case)
    channels = dict(run.recording.channels)
    channels[channel] = (channels[channel] * factor).astype(np.float32)
    found = slip_findings(reduce(run, recording=replace(run.recording, channels=channels)))
    assert found
    named = [c["units"] for f in found for c in f.evidence.get("candidates", [])]
    assert units in named


@pytest.mark.parametrize("factor", [9.0, 1 / 9.0])
def test_pounds_force_inch_and_kilogram_force_are_both_named(reduce, factor) -> None:
    run = simulate(replace(draw_case(3), mode="dwells", rate_hz=50.0))
    channels = dict(run.recording.channels)
    channels[Channel.TORQUE] = (channels[Channel.TORQUE] * factor).astype(np.float32)
    (found,) = slip_findings(reduce(run, recording=replace(run.recording, channels=channels)))
    factors = {c["factor"] for c in found.evidence["candidates"]}
    assert {8.850746, 9.80665} <= factors


@pytest.mark.parametrize("factor", [8.85, 1 / 8.85])
def test_volts_and_amperes_alone_show_a_slip_too(reduce, factor) -> None:
    for seed in (3, 4, 5):
        run = simulate(replace(draw_case(seed), mode="dwells", rate_hz=50.0, with_power="none"))
        channels = dict(run.recording.channels)
        channels[Channel.TORQUE] = (channels[Channel.TORQUE] * factor).astype(np.float32)
        result = reduce(run, recording=replace(run.recording, channels=channels))
        assert slip_findings(result), seed
        assert not slip_findings(reduce(run)), seed
