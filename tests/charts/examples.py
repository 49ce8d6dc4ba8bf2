"""Invented appliances and runs to draw, from one simple motor so that figures agree."""

import math
from datetime import UTC, datetime

from server.model.bench import Claim, ClaimReading
from server.model.measured import MeaningReading, Metric
from server.model.results import Curve, LoadPoint, Reduction, Segment, Trace
from server.model.views import ListingRow
from server.model.words import Meaning, MetricName, RunKind, SegmentKind

WATTS_PER_HP = 745.69987
CLAIM = Claim("power", 5 * WATTS_PER_HP, "5.0 peak hp", "5.0 hp", "front of the box")


def listing(name="Millbeck WD-30", *, category="wet/dry vacuum", hp=5.0, rated=574.0,
            highest=838.0, lower_bound=False, typed=None):  # fmt: skip
    maker, _, model = name.partition(" ")
    printed = None if hp is None else hp * WATTS_PER_HP
    metrics = {}
    if rated is not None:
        metrics[MetricName.SHAFT_POWER_AT_RATED_CURRENT] = Metric(
            MetricName.SHAFT_POWER_AT_RATED_CURRENT, rated, rated * 0.01
        )
    if highest is not None:
        metrics[MetricName.SHAFT_POWER_MAX_STEADY] = Metric(
            MetricName.SHAFT_POWER_MAX_STEADY, highest, highest * 0.01, lower_bound
        )
    ratio = highest / printed if highest and printed else None
    return ListingRow(
        public_id="4k7p2m9xq1",
        slug="slug",
        maker=maker,
        model=model,
        model_number=None,
        category=category,
        printed_power_w=printed,
        printed_power_typed=typed or (None if hp is None else f"{hp} hp"),
        n_runs=1,
        n_specimens=1,
        n_testers=1,
        run_id="r1",
        metrics=metrics,
        ratio=ratio,
        ratio_standard_uncertainty=None if ratio is None else ratio * 0.01,
        updated_at=datetime(2026, 11, 12, tzinfo=UTC),
    )


LISTINGS = (
    listing("Tollan Shed 40", hp=6.0, rated=642.0, highest=897.0),
    listing(),
    listing("Lune Mixer", category="stand mixer", hp=1.3, rated=188.0, highest=290.0),
    listing("Quarrow 20", hp=2.5, rated=524.0, highest=690.0, lower_bound=True),
    listing("Aldermoor Router F2 with an uncommonly long name on its box", rated=1071.0),
    listing("Brandy Hill Saw 7", rated=None, highest=1530.0),
    listing("Osk Blower", hp=None, rated=700.0, highest=1010.0),
    listing("Pellworm Grinder", rated=None, highest=None),
)

STALL_NM, FREE_RAD_S = 3.0, 2100.0


def speed(torque):
    return FREE_RAD_S * max(0.0, 1 - torque / STALL_NM) ** 1.6


def current(torque):
    return 1.2 + 9 * torque


def shaft_power(torque):
    return torque * speed(torque)


def input_power(torque):
    return 1.3 * shaft_power(torque) + 30 * current(torque) + 20


def reduction(n_points=8, *, scale=1.0, with_curves=True, with_input=True):
    torques = [0.1 + 2.4 * i / max(n_points - 1, 1) for i in range(n_points)]
    return Reduction(
        RunKind.BRAKE,
        "1",
        metrics=_metrics(),
        segments=SEGMENTS,
        points=tuple(_point(i, t, scale, with_input) for i, t in enumerate(torques)),
        curves=_curves(scale) if with_curves else (),
        trace=trace(),
    )


def _metrics():
    values = {
        MetricName.SHAFT_POWER_MAX_STEADY: shaft_power(1.15),
        MetricName.TORQUE_AT_MAX_STEADY_POWER: 1.15,
        MetricName.INPUT_POWER_AT_MAX_STEADY_POWER: input_power(1.15),
        MetricName.SHAFT_POWER_AT_RATED_CURRENT: shaft_power(0.8),
        MetricName.TORQUE_AT_RATED_CURRENT: 0.8,
        MetricName.INPUT_POWER_AT_RATED_CURRENT: input_power(0.8),
        MetricName.EFFICIENCY_MAX: shaft_power(0.6) / input_power(0.6),
        MetricName.TORQUE_AT_EFFICIENCY_MAX: 0.6,
    }
    return {name: Metric(name, value, abs(value) * 0.01) for name, value in values.items()}


def _point(i, torque, scale, with_input):
    power = shaft_power(torque) * scale
    drawn = input_power(torque) if with_input else None
    return LoadPoint(
        start_s=5.0 * i,
        end_s=5.0 * i + 4,
        is_dwell=True,
        n_samples=400,
        n_effective=80.0,
        torque_nm=torque,
        speed_rad_s=speed(torque),
        shaft_power_w=power,
        current_a=current(torque),
        input_power_w=drawn,
        efficiency=None if drawn is None else power / drawn,
        u_torque_nm=0.004,
        u_speed_rad_s=3.0,
        u_shaft_power_w=5.0,
        u_current_a=0.03,
        u_input_power_w=4.0 if with_input else None,
        u_efficiency=0.006 if with_input else None,
    )


def _curves(scale):
    torques = tuple(0.05 + 2.85 * i / 160 for i in range(161))
    beyond = tuple(t > 2.5 for t in torques)
    what = (
        ("shaft_power", "W", lambda t: shaft_power(t) * scale, 7.0),
        ("speed", "rad/s", speed, 5.0),
        ("efficiency", "", lambda t: scale * shaft_power(t) / input_power(t), 0.007),
        ("current", "A", current, 0.05),
    )
    return tuple(
        Curve(
            name,
            unit,
            torques,
            tuple(f(t) for t in torques),
            tuple(u * (1 + 6 * max(0.0, t - 2.5)) for t in torques),
            beyond,
            "smoothing spline",
        )
        for name, unit, f, u in what
    )


SEGMENTS = (
    Segment(SegmentKind.OFF, 0.0, 2.0, 0, 40),
    Segment(SegmentKind.RUN_UP, 2.0, 3.0, 40, 60),
    Segment(SegmentKind.FREE_RUNNING, 3.0, 9.0, 60, 180),
    *(
        Segment(SegmentKind.STEADY_DWELL, 10.0 + 5 * i, 14.0 + 5 * i, 200 + 100 * i, 280 + 100 * i)
        for i in range(8)
    ),
    Segment(SegmentKind.RUN_DOWN, 50.0, 58.0, 1000, 1160),
)


def trace():
    times = tuple(i * 0.05 for i in range(1200))
    return Trace(
        dict.fromkeys(("speed", "torque", "temperature_1", "extra_reading"), times),
        {
            "speed": tuple(2000 - 20 * t + 6 * math.sin(9 * t) if t > 2 else 0.0 for t in times),
            "torque": tuple(None if 20 < t < 21 else int(t / 5) * 0.25 for t in times),
            "temperature_1": tuple(293.15 + t / 4 for t in times),
            "extra_reading": tuple(math.sin(t) for t in times),
        },
    )


def _meaning(meaning, value, u=None, lower_bound=False, reason=None):
    ratio = None if value is None else value / CLAIM.value_si
    u_ratio = None if u is None else u / CLAIM.value_si
    return MeaningReading(meaning, value, u, ratio, u_ratio, lower_bound, reason)


READING = ClaimReading(
    CLAIM,
    (
        _meaning(Meaning.SHAFT_AT_RATED_CURRENT, 574.0, 6.0),
        _meaning(Meaning.SHAFT_HIGHEST_STEADY, 838.0, 10.0),
        _meaning(Meaning.SHAFT_HIGHEST_MOMENTARY, 850.0, 20.0),
        _meaning(Meaning.BRAKE_READING_WHILE_SLOWING, 1350.0, 40.0),
        _meaning(Meaning.INPUT_AT_RATED_CURRENT, 954.0, 4.0),
        _meaning(Meaning.INPUT_AT_HIGHEST_STEADY, 1594.0, 6.5, lower_bound=True),
        _meaning(Meaning.INPUT_ROTOR_HELD, None, reason="the rotor was not held"),
        _meaning(Meaning.CIRCUIT_CONTINUOUS_LIMIT, 1800.0),
    ),
    Metric(MetricName.IMPLIED_CURRENT, 54.2, 0.8),
    Metric(MetricName.ROTOR_ENERGY_TIME, 0.092, 0.004),
)
