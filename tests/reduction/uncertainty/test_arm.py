"""The arm's angle, the dead weight on it, and the friction of its pivot, by closed form."""

import math
from dataclasses import replace

import numpy as np
import pytest

from server.model.bench import Rig
from server.model.recording import Recording
from server.model.results import Reduction, ReductionOptions
from server.model.words import Channel, MetricName, RunKind
from server.reduction import reduce_run
from server.reduction.uncertainty.components import Component, Distribution, rig_errors
from server.reduction.uncertainty.run_errors import run_errors
from server.reduction.zero import Zero
from tests.reduction.simulate import Case, Simulated, permanent_magnet, simulate

M = MetricName
POWER = M.SHAFT_POWER_MAX_STEADY
ARM_M = 0.2
RUN = simulate(Case(permanent_magnet(), n_dwells=8, seed=21))


def on_an_arm(run: Simulated, **rig: object) -> tuple[Recording, Rig]:
    """The same run with force logged in place of torque."""
    channels = dict(run.recording.channels)
    channels[Channel.FORCE] = channels.pop(Channel.TORQUE) / np.float32(ARM_M)
    return replace(run.recording, channels=channels), replace(run.rig, arm_m=ARM_M, **rig)


def reduced(recording: Recording, rig: Rig) -> Reduction:
    return reduce_run(
        recording, kind=RunKind.BRAKE, plate=RUN.plate, rig=rig, options=ReductionOptions()
    )


def value(result: Reduction, name: MetricName = POWER) -> float:
    found = result.metrics[name].value
    assert found is not None
    return found


def test_an_arm_off_square_is_shorter_by_the_cosine_of_its_angle() -> None:
    recording, rig = on_an_arm(RUN, drag=(), inertia_kg_m2=None)
    square = value(reduced(recording, rig))
    for sign in (1, -1):
        askew = value(reduced(recording, replace(rig, arm_angle_rad=sign * math.radians(10))))
        assert askew / square == pytest.approx(math.cos(math.radians(10)), rel=1e-6)


def test_the_effective_arm_is_the_mean_over_what_the_angle_may_be() -> None:
    rig = Rig(arm_m=0.25, arm_angle_rad=0.1, arm_angle_uncertainty_rad=0.05)
    d = np.linspace(-0.4, 0.4, 20001)
    weight = np.exp(-((d / 0.05) ** 2) / 2)
    mean = np.average(0.25 * np.cos(0.1 + d), weights=weight)
    assert rig.effective_arm_m == pytest.approx(float(mean), rel=1e-9)
    assert Rig(arm_m=0.25).effective_arm_m == 0.25
    assert Rig().effective_arm_m is None


@pytest.mark.parametrize(("angle", "u"), [(0.0, 0.02), (0.0, 0.2), (0.1, 0.02), (-0.5, 0.1)])
def test_the_cosine_s_relative_uncertainty_is_that_of_its_distribution(
    angle: float, u: float
) -> None:
    found = Component.cosine("arm angle", angle, u)
    d = np.linspace(-8 * u, 8 * u, 40001)
    weight = np.exp(-((d / u) ** 2) / 2)
    cosine = np.cos(angle + d)
    mean = np.average(cosine, weights=weight)
    spread = math.sqrt(float(np.average((cosine / mean - 1) ** 2, weights=weight)))
    assert found.standard_uncertainty == pytest.approx(spread, rel=1e-6)
    errors = found.draw(np.random.default_rng(1), 400_000)
    assert float(errors.std()) == pytest.approx(spread, rel=0.02)
    assert abs(float(errors.mean())) < 5 * spread / math.sqrt(errors.size)


def test_about_square_the_error_is_one_sided_and_of_second_order() -> None:
    # JCGM 100:2008, F.2.4.4 (from memory): variance sigma^4 / 2 for an angle in one plane.
    found = Component.cosine("arm angle", 0.0, 0.01)
    assert found.standard_uncertainty == pytest.approx(0.01**2 / math.sqrt(2), rel=1e-3)
    errors = found.draw(np.random.default_rng(2), 10_000)
    assert float(errors.max()) <= math.exp(0.01**2 / 2) - 1 + 1e-12
    # Away from square it is of first order: tan(angle) u.
    tilted = Component.cosine("arm angle", 0.3, 0.01)
    assert tilted.standard_uncertainty == pytest.approx(math.tan(0.3) * 0.01, rel=1e-2)


def test_the_angle_counts_with_a_force_and_not_with_a_torque_sensor() -> None:
    recording, rig = on_an_arm(RUN, arm_angle_rad=0.2, arm_angle_uncertainty_rad=0.05)
    power = reduced(recording, rig).metrics[POWER]
    (line,) = [one for one in power.budget if one.component == "arm angle"]
    assert line.distribution == Distribution.COSINE.value
    zero = Zero(0.0, None, 0.0, np.zeros(1))
    names = {
        c.name for c in run_errors(rig, zero, torque_channel=Channel.TORQUE, used=()).components
    }
    assert "arm angle" not in names


def test_pivot_friction_is_an_offset_that_no_zero_takes_off() -> None:
    # Rectangular, +- 0.01 N m: u = 0.01 / sqrt(3) (JCGM 100:2008, 4.3.7), times the speed in power.
    result = reduced(RUN.recording, replace(RUN.rig, pivot_friction_nm=0.01))
    torque = result.metrics[M.TORQUE_AT_FREE_SPEED]
    (line,) = [one for one in torque.budget if one.component == "pivot friction"]
    assert line.standard_uncertainty == pytest.approx(0.01 / math.sqrt(3))
    assert line.distribution == Distribution.RECTANGULAR.value
    assert abs(line.sensitivity) == pytest.approx(1.0, rel=0.02)
    speed = value(result, M.SPEED_AT_MAX_STEADY_POWER)
    power = result.metrics[POWER]
    (line,) = [one for one in power.budget if one.component == "pivot friction"]
    assert abs(line.sensitivity) == pytest.approx(speed, rel=0.05)
    plain = reduced(RUN.recording, RUN.rig).metrics[POWER]
    assert power.value == pytest.approx(plain.value, rel=1e-7)


def test_dead_weight_on_the_arm_goes_with_the_zero_at_rest() -> None:
    # A weight of 2 N at 0.1 m, there at rest and under load alike: 0.2 N m.
    recording, rig = on_an_arm(RUN)
    channels = dict(recording.channels)
    channels[Channel.FORCE] = channels[Channel.FORCE] + np.float32(0.2 / ARM_M)
    weighted = reduced(replace(recording, channels=channels), rig)
    plain = reduced(recording, rig)
    for name in (POWER, M.TORQUE_AT_FREE_SPEED, M.TORQUE_AT_MAX_STEADY_POWER):
        assert value(weighted, name) == pytest.approx(value(plain, name), rel=1e-4, abs=1e-5)


def test_what_is_not_stated_is_no_component() -> None:
    errors = rig_errors(Rig(arm_m=0.2, arm_angle_rad=0.1))
    assert errors.arm_angle is errors.pivot is errors.leads is None
