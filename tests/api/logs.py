"""A small brake run as a log: a motor whose speed falls straight with its load, in dwells."""

import json
import math

TORQUES_NM = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7)


def small_log(*, torques_nm: tuple[float, ...] = TORQUES_NM, dwell_s: float = 2.0) -> str:
    """Speed 2000 rad/s falling by 2200 rad/s per N m; losses 150 W."""
    lines = ["time [s],speed [rad/s],torque [N m],current [A],voltage [V],power [W]"]
    per_dwell = round(dwell_s * 20)
    for dwell, torque in enumerate(torques_nm):
        speed = 2000.0 - 2200.0 * torque
        shaft = speed * torque
        for step in range(per_dwell):
            time = dwell * dwell_s + step / 20
            ripple = math.sin(7.0 * time)
            lines.append(
                f"{time:.3f},{speed + ripple:.2f},{torque + 0.0005 * ripple:.5f},"
                f"{1.5 + shaft / 40:.3f},120.0,{shaft / 0.8 + 150:.2f}"
            )
    return "\n".join(lines) + "\n"


BENCH = {
    "appliance": {"maker": "Millbeck", "model": "WD-30", "category": "wet/dry vacuum"},
    "plate": {
        "voltage": "120 V",
        "supply": "AC",
        "current": "10.2 A",
        "circuit": "15 A",
        "motor_family": "series",
    },
    "rig": {"name": "Bench one", "arm": "100 mm", "rotor_inertia": "4e-5 kg m^2"},
    "claim": [{"quantity": "power", "value": "5 hp", "wording": "5.0 Peak HP*"}],
    "run": {"tested_on": "2026-11-02"},
}


def parts(log: str | None = None, bench: dict[str, object] | None = None) -> dict[str, object]:
    """A multipart upload, the bench before the log as a careful client sends it."""
    described = json.dumps(BENCH if bench is None else bench)
    return {
        "bench": (None, described, "application/json"),
        "file": ("run.csv", small_log() if log is None else log, "text/csv"),
    }
