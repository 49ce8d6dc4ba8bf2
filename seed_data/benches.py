"""The rigs of the three workshops, with the logger each of them has."""

from dataclasses import dataclass, field

from seed_data.dialects import Dialect
from seed_data.rigs import BrakeRig

TARLUNE = "Tarlune repair workshop"
BRACKFERRY = "Brackferry tool library"
PELLINDOR = "Pellindor motor bench"


@dataclass(frozen=True)
class Setup:
    """A rig, who owns it, how its logger writes. `rig.inertia` is the absorber's alone."""

    key: str
    tester: str
    rig: BrakeRig
    dialect: Dialect
    units: dict[str, str]
    interval_s: float
    drag_note: str
    accuracy: dict[str, dict[str, str]] = field(default_factory=dict)
    states_power: bool = True


def _accuracy(torque: str, calibrated: str, **meter: str) -> dict[str, dict[str, str]]:
    return {
        "torque": {"of_reading": torque, "of_range": "0.05 %", "calibrated": calibrated},
        "speed": {"of_reading": "0.05 %"},
        "voltage": {"of_reading": meter.get("voltage", "0.1 %"), "calibrated": calibrated},
        "current": {"of_reading": meter.get("current", "0.2 %"), "calibrated": calibrated},
        "power": {"of_reading": meter.get("power", "0.25 %"), "calibrated": calibrated},
    }


SETUPS = (
    Setup(
        "tar-eddy",
        TARLUNE,
        BrakeRig(
            "Eddy disc on a 150 mm arm", "eddy-current brake", 1.5e-4, 0.0, 0.15,
            drag_nm=0.004, drag_nms=2e-6, pulses_per_revolution=60, torque_range_nm=3.0,
            zero_nm=0.021, zero_creep_nm=0.001, torque_gain=0.0008, torque_noise_rel=4e-4,
            torque_lag_s=0.12, meter_gain=(0.0004, -0.0006, 0.0007),
        ),
        Dialect(preamble=("# Tarlune bench log", "# scale on arm: 150 mm"), blank="OL",
                blank_rel=0.0005),
        {"time": "s", "voltage": "V", "current": "A", "power": "W", "force": "g", "speed": "rpm",
         "temperature_1": "°C"},
        0.05,
        "the two bearings of the disc's shaft, by run-down without a motor",
        _accuracy("0.15 %", "2026-01-20"),
    ),
    Setup(
        "tar-generator",
        TARLUNE,
        BrakeRig(
            "Generator brake with torque flange", "generator", 1.2e-3, 0.0, None,
            drag_nm=0.02, drag_nms=5e-5, pulses_per_revolution=1024, torque_range_nm=30.0,
            torque_steps=60_000, zero_nm=-0.05, zero_creep_nm=0.004, torque_gain=-0.0007,
            torque_noise_rel=1.5e-4, meter_gain=(0.0004, -0.0006, 0.0007),
        ),
        Dialect(units="row", clock="hh:mm:ss", newline="\n", extra="Marker"),
        {"time": "s", "voltage": "V", "current": "A", "power": "W", "power_factor": "",
         "torque": "lbf·in", "speed": "rpm"},
        0.02,
        "the coupling's support bearing",
        _accuracy("0.1 %", "2025-11-03"),
    ),
    Setup(
        "brack-drum",
        BRACKFERRY,
        BrakeRig(
            "Drum brake, 200 mm arm", "friction brake", 3e-4, 0.0, 0.2,
            drag_nm=0.01, drag_nms=4e-6, torque_range_nm=6.0, zero_nm=-0.11,
            zero_creep_nm=-0.006, torque_gain=-0.0012, torque_noise_rel=6e-4, torque_lag_s=0.05,
            meter_gain=(-0.0005, 0.0008, -0.0009), meter_noise_rel=6e-4,
        ),
        Dialect(language="german", separator=";", decimal=",", thousands=".", encoding="latin-1",
                units="square", preamble=("Messgerät: Leistungsmesser 3", "Datum: 14.05.2026")),
        {"time": "s", "voltage": "V", "current": "A", "power": "W", "force": "N",
         "speed": "1/min"},
        0.04,
        "drum bearings, driven by a small motor",
        _accuracy("0.25 %", "2025-12-09", power="0.3 %"),
    ),
    Setup(
        "brack-hysteresis",
        BRACKFERRY,
        BrakeRig(
            "Hysteresis brake, kgf·cm flange", "hysteresis brake", 6e-4, 0.0, None,
            drag_nm=0.012, drag_nms=1.5e-5, pulses_per_revolution=360, torque_range_nm=20.0,
            torque_steps=40_000, zero_nm=0.3, zero_creep_nm=-0.01, torque_gain=0.0009,
            torque_noise_rel=3e-4, meter_gain=(-0.0005, 0.0008, -0.0009),
        ),
        Dialect(language="french", separator="\t", decimal=",", clock="iso", newline="\n",
                encoding="utf-8-sig", padded=True, blank="---", blank_rel=0.0005),
        {"time": "s", "voltage": "V", "current": "A", "apparent_power": "VA", "power_factor": "",
         "torque": "kgf·cm", "speed": "tr/min", "brake_setting": "%"},
        0.05,
        "none after the flange; its own bearing before it",
        _accuracy("0.2 %", "2025-12-09", power="0.3 %"),
    ),
    Setup(
        "pell-hysteresis",
        PELLINDOR,
        BrakeRig(
            "Hysteresis brake, ounce-inch flange", "hysteresis brake", 1.2e-4, 0.0, None,
            drag_nm=0.003, drag_nms=1.5e-6, pulses_per_revolution=20, torque_range_nm=4.0,
            zero_nm=0.06, zero_creep_nm=0.002, torque_gain=0.0013, torque_noise_rel=3e-4,
            torque_lag_s=0.2, meter_gain=(0.0007, 0.0004, 0.0011),
        ),
        Dialect(language="symbols", separator="\t", clock="mm:ss", encoding="utf-16",
                preamble=("[session]", "[channels]")),
        {"time": "s", "voltage": "V", "current": "mA", "power": "kW", "torque": "ozf·in",
         "speed": "rpm", "frequency": "Hz"},
        0.03,
        "flange bearing",
        _accuracy("0.2 %", "2026-02-11"),
    ),
    Setup(
        "pell-small",
        PELLINDOR,
        BrakeRig(
            "Small brake for fan motors", "hysteresis brake", 1.5e-6, 0.0, None,
            drag_nm=3e-4, drag_nms=2e-7, torque_range_nm=0.15, zero_nm=0.002,
            zero_creep_nm=2e-4, torque_gain=-0.0006, torque_noise_rel=5e-4,
            meter_gain=(0.0007, 0.0004, 0.0011),
        ),
        Dialect(language="plain", units="joined", clock="ms", newline="\n", blank="NaN",
                blank_rel=0.001),
        {"time": "s", "voltage": "V", "current": "A", "power": "W", "torque": "mN·m",
         "speed": "rad/s"},
        0.01,
        "flange bearing",
        _accuracy("0.2 %", "2026-02-11"),
    ),
    Setup(
        "pell-direct",
        PELLINDOR,
        BrakeRig(
            "Belt-free brake on a DC bench", "eddy-current brake", 9e-4, 0.0, 0.25,
            drag_nm=0.015, drag_nms=2e-5, pulses_per_revolution=120, torque_range_nm=15.0,
            zero_nm=0.2, zero_creep_nm=0.008, torque_gain=0.001, torque_noise_rel=4e-4,
            meter_gain=(0.0003, -0.0005, 0.0),
        ),
        Dialect(language="spanish", separator=";", decimal=",", units="brackets", quoted=True),
        {"time": "s", "voltage": "V", "current": "A", "force": "kgf", "speed": "rpm",
         "temperature_1": "°C"},
        0.01,
        "disc bearings",
        _accuracy("0.2 %", "2024-06-30"),
        states_power=False,
    ),
)  # fmt: skip
