"""What the workshops use beside their brakes: a tachometer, a meter, a notebook, a video."""

from dataclasses import dataclass, field

from seed_data.benches import BRACKFERRY, PELLINDOR, SETUPS, TARLUNE, Setup
from seed_data.dialects import Dialect
from seed_data.rigs import BrakeRig

_TARLUNE = {
    "speed": {"of_reading": "0.05 %"},
    "voltage": {"of_reading": "0.1 %", "calibrated": "2026-01-20"},
    "current": {"of_reading": "0.2 %", "calibrated": "2026-01-20"},
    "power": {"of_reading": "0.25 %", "calibrated": "2026-01-20"},
}
_PLUG = {
    "speed": {"of_reading": "0.05 %", "resolution": "1 rpm"},
    "voltage": {"of_reading": "0.3 %", "resolution": "0.1 V"},
    "current": {"of_reading": "0.5 %", "resolution": "1 mA"},
    "power": {"of_reading": "0.5 %", "resolution": "0.1 W"},
}


def _noted(torque: str) -> dict[str, dict[str, str]]:
    """What a reader of displays states: % of reading, and the last digit."""
    return {
        "torque": {"of_reading": "0.3 %", "resolution": torque},
        "speed": {"of_reading": "0.05 %", "resolution": "1 rpm"},
        "voltage": {"of_reading": "0.3 %", "resolution": "0.1 V"},
        "current": {"of_reading": "0.5 %", "resolution": "0.01 A"},
        "power": {"of_reading": "0.5 %", "resolution": "1 W"},
    }


@dataclass(frozen=True)
class Stand:
    """A setup, and what its bench file may say of it. `decimals`: shown on each display."""

    setup: Setup
    states: tuple[str, ...] = ()  # of inertia, rotor_inertia, drag, arm
    decimals: dict[str, int] = field(default_factory=dict)


def _plain(name: str, *, arm_m: float | None = None, **faults) -> BrakeRig:
    return BrakeRig(name, "other", 0.0, 0.0, arm_m, speed_noise_rel=2e-4, **faults)


_FREE = _plain("Free shaft with an optical tachometer", meter_gain=(0.0004, -0.0006, 0.0007))
_HAND = BrakeRig(
    "Small hysteresis brake, displays read by eye", "hysteresis brake", 0.0, 0.0, None,
    drag_nm=0.004, drag_nms=3e-6, torque_range_nm=8.0, zero_nm=0.012, torque_gain=-0.0014,
    torque_noise_rel=1.5e-4, speed_noise_rel=1.5e-4, meter_gain=(0.0009, -0.0016, 0.0012),
    meter_noise_rel=8e-4,
)  # fmt: skip
_VIDEO = BrakeRig(
    "Cord brake before a camera", "friction brake", 0.0, 0.0, None,
    torque_range_nm=5.0, zero_nm=-0.004, torque_gain=0.0011, torque_noise_rel=2e-4,
    speed_noise_rel=1.5e-4, meter_gain=(-0.0008, 0.0013, 0.0017), meter_noise_rel=8e-4,
)  # fmt: skip
_ELECTRICAL = {"time": "s", "voltage": "V", "current": "A", "power": "W", "speed": "rpm"}
_DISPLAYS = {"voltage": 1, "current": 2, "power": 0, "torque": 3, "speed": 0}

STANDS = (
    Stand(
        Setup("tar-coast", TARLUNE, _FREE, Dialect(preamble=("# Tarlune bench log",)),
              {"time": "s", "current": "A", "speed": "rpm"}, 0.05, "", _TARLUNE),
    ),
    Stand(
        Setup("brack-coast", BRACKFERRY, _plain("Run-down of a bare rotor, reflective mark"),
              Dialect(language="german", separator=";", decimal=",", encoding="latin-1",
                      units="square"),
              {"time": "s", "current": "A", "speed": "1/min"}, 0.04, "", _PLUG),
        ("rotor_inertia",),
    ),
    Stand(
        Setup("tar-wheel", TARLUNE,
              _plain("Flywheel on the shaft", drag_nm=0.004, drag_nms2=1.2e-8,
                     meter_gain=(0.0004, -0.0006, 0.0007)),
              Dialect(units="row", newline="\n"), _ELECTRICAL, 0.01,
              "the flywheel's two bearings and its own windage, by run-down", _TARLUNE),
        ("inertia", "rotor_inertia", "drag"),
    ),
    Stand(
        Setup("brack-meter", BRACKFERRY,
              _plain("Plug-in meter and reflective mark", meter_gain=(-0.0005, 0.0008, -0.0009)),
              Dialect(language="german", separator=";", decimal=",", encoding="latin-1",
                      units="square"), {**_ELECTRICAL, "speed": "1/min"}, 0.1, "", _PLUG),
    ),
    Stand(next(s for s in SETUPS if s.key == "brack-drum"), ("arm",)),
    Stand(
        Setup("pell-hand", PELLINDOR, _HAND, Dialect(), {}, 0.0, "flange bearing, by run-down",
              _noted("0.001 N m")),
        ("drag",), _DISPLAYS,
    ),
    Stand(
        Setup("brack-video", BRACKFERRY, _VIDEO, Dialect(), {}, 0.04, "", _noted("0.001 N m")),
        (), _DISPLAYS,
    ),
)  # fmt: skip
