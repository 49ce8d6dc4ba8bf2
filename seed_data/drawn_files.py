"""How a drawn run is written: its channels and units, the logger's dialect, the bench file."""

import numpy as np

from seed_data.brake import Readings
from seed_data.dialects import Dialect
from seed_data.motors import Line, load_line, truth
from seed_data.rigs import BrakeRig


def draw_writing(readings: Readings, rig: BrakeRig, line: Line, rng):
    """Which channels are written, in which units, by which dialect."""
    channels = dict(readings.channels)
    apparent = channels["voltage"] * channels["current"]
    channels["apparent_power"] = apparent
    channels["power_factor"] = np.divide(
        channels["power"], apparent, out=np.zeros_like(apparent), where=apparent > 0
    )
    units = {"time": "s", "voltage": "V", "current": str(rng.choice(["A", "A", "A", "mA"]))}
    if line.is_ac:
        power = ["power", "power", "power", "power power_factor", "power_factor"]
        for name in str(rng.choice(power)).split():
            units[name] = str(rng.choice(["W", "W", "kW"])) if name == "power" else ""
        if rng.random() < 0.3:
            units["frequency"] = "Hz"
    elif rng.random() < 0.5:
        units["power"] = "W"
    if rig.arm_m is not None:
        channels["force"] = channels["torque"] / rig.arm_m
        units["force"] = str(rng.choice(["N", "N", "g", "lbf", "kgf"]))
    else:
        named = ["N·m", "N·m", "mN·m", "lbf·in", "ozf·in", "kgf·cm", "lbf·ft"]
        units["torque"] = str(rng.choice(named))
    units["speed"] = str(rng.choice(["rpm", "rpm", "rad/s"]))
    if rng.random() < 0.4:
        units["temperature_1"] = "°C"
    if rng.random() < 0.3:
        units["brake_setting"] = "%"
    return channels, units, draw_dialect(rng, units)


def draw_dialect(rng, units: dict[str, str]) -> Dialect:
    language = str(
        rng.choice(["english", "english", "symbols", "german", "french", "spanish", "plain"])
    )
    comma = language in ("german", "french", "spanish") or rng.random() < 0.1
    separator = (
        str(rng.choice([";", "\t"])) if comma else str(rng.choice([",", ",", ";", "\t", " "]))
    )
    if separator == " " and language not in ("symbols", "plain"):
        separator = ","
    styles = ["brackets", "square", "slash", "row"]
    named = "joined" if language == "plain" else str(rng.choice(styles))
    if separator == " ":
        named = "joined" if language == "plain" else "row"
    if units["speed"] == "rpm":
        units["speed"] = {"german": "1/min", "french": "tr/min"}.get(language, "rpm")
    clocks = ["s", "s", "ms", "mm:ss", "hh:mm:ss", "iso"]
    clock = str(rng.choice(clocks)) if separator != " " and named != "row" else "s"
    preambles = [
        (),
        (),
        ("# logged on the bench", "# interval as set"),
        ("Device: bench meter", ""),
    ]
    marked = [(), ("# logged on the bench",)]
    chosen = marked if separator == " " else preambles
    gaps = ["NaN", "---", "OL"] if separator == " " else ["", "NaN", "---", "OL"]
    wide = str(rng.choice(["utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1"]))
    return Dialect(
        language=language,
        separator=separator,
        decimal="," if comma else ".",
        thousands=str(rng.choice(["", "", "." if comma else "'"])) if separator != " " else "",
        units=named,
        clock=clock,
        encoding=wide,
        newline=str(rng.choice(["\n", "\r\n"])),
        preamble=chosen[int(rng.integers(len(chosen)))],
        quoted=bool(rng.random() < 0.15) and separator != " ",
        blank=str(rng.choice(gaps)),
        blank_rel=float(rng.choice([0.0, 0.002])),
        padded=bool(rng.random() < 0.15) or separator == " ",
        extra="Status" if rng.random() < 0.2 else None,
    )


def bench_parts(motor, line: Line, rig: BrakeRig, rng, *, force: bool) -> dict:
    """The bench file's tables, as the tester would write them."""
    found = truth(motor, line, rig.drag)
    speed, at = load_line(motor, line)
    loaded = speed >= found.speed_at_max
    share = at.torque_nm[loaded] * speed[loaded] / found.shaft_power_max_steady
    rated = int(np.argmin(np.abs(share - rng.uniform(0.5, 0.75))))
    top = found.free_speed * 1.1
    sensed = "force" if force else "torque"
    over = rig.arm_m if force and rig.arm_m else 1.0
    unit = "N" if force else "N m"
    span = rig.torque_range_nm / over
    return {
        "plate": {
            "voltage": f"{round(line.voltage_v / 10) * 10:g} V",
            "supply": "AC" if line.is_ac else "DC",
            "frequency": f"{line.frequency_hz:g} Hz" if line.is_ac else None,
            "current": f"{at.current_a[loaded][rated]:.2f} A",
            "circuit": "15 A" if line.voltage_v < 150 else "13 A",
            "motor_family": motor.family,
        },
        "rig": {
            "absorber": rig.absorber,
            "arm": f"{rig.arm_m:g} m" if force else None,
            "inertia": f"{rig.inertia:.4e} kg m^2",
            "rotor_inertia": f"{rig.rotor_inertia:.4e} kg m^2",
            "drag": [[f"{s:.2f} rad/s", f"{t:.6f} N m"] for s, t in rig.drag_table(top)],
            "pulses_per_revolution": f"{rig.pulses_per_revolution:g}"
            if rig.pulses_per_revolution
            else None,
        },
        "instrument": [
            {
                "channel": sensed,
                "of_reading": "0.2 %",
                "range": f"{span:.6g} {unit}",
                "of_range": "0.05 %",
                "resolution": f"{span / rig.torque_steps:.3g} {unit}",
            },
            {"channel": "speed", "of_reading": "0.05 %"},
            {"channel": "voltage", "of_reading": "0.1 %"},
            {"channel": "current", "of_reading": "0.1 %"},
            {"channel": "power", "of_reading": "0.2 %"},
        ],
    }
