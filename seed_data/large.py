"""One sound brake run of any length, written fast: what reading and reducing are timed on."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from seed_data.bench_file import bench_toml
from seed_data.brake import Readings, brake_run, seconds_needed
from seed_data.motors import Line, Motor, Operating, Truth, load_line, truth
from seed_data.per_unit import series
from seed_data.plans import along_the_line, dwells
from seed_data.rigs import BrakeRig

INTERVAL_S = 1e-3
N_DWELLS = 14
SHORTEST_HOLD_S = 1.0
MESSY_HEAD = "# long run on the bench\n# interval 1 ms\n"
LINE = Line(120.0, 60.0, 0.25, 0.05)
MOTOR = series(120, 10, 19000)
RIG = BrakeRig(
    "Long run",
    "eddy-current brake",
    1.2e-4,
    8e-5,
    drag_nm=0.006,
    drag_nms=2e-6,
    pulses_per_revolution=1024,
    torque_range_nm=3.0,
    zero_nm=0.03,
    zero_creep_nm=0.0005,
    torque_noise_rel=1e-3,
)
COLUMNS = {  # header -> (channel, times SI, decimals), units written in the header or in a row
    "Time": ("time", 1.0, 3, "s"),
    "Voltage": ("voltage", 1.0, 3, "V"),
    "Current": ("current", 1.0, 4, "A"),
    "Power": ("power", 1.0, 2, "W"),
    "Torque": ("torque", 1e3, 2, "mN·m"),
    "Speed": ("speed", 60 / (2 * np.pi), 1, "rpm"),
    "Power factor": ("power_factor", 1.0, 4, ""),
    "Frequency": ("frequency", 1.0, 3, "Hz"),
    "Temperature 1": ("temperature_1", 1.0, 2, "K"),
    "Brake setting": ("brake_setting", 1.0, 1, "%"),
}


@dataclass(frozen=True)
class LargeLog:
    path: Path
    n_rows: int
    truth: Truth
    bench: str  # text of its bench file


@dataclass(frozen=True)
class _Tabled:
    """A motor looked up in a table over speed: the same curve, cheap for millions of rows."""

    motor: Motor
    line: Line

    def __getattr__(self, name: str):
        return getattr(self.motor, name)

    def operate(self, speed, source_v, line: Line) -> Operating:
        if np.size(speed) < 50_000:
            return self.motor.operate(speed, source_v, line)
        at_speed, at = load_line(self.motor, line, 20_001)
        look = (np.interp(speed, at_speed, y) for y in (at.torque_nm, at.current_a, at.power_w))
        return Operating(*look, np.interp(speed, at_speed, at.voltage_v))


def write_large_log(
    path: str | Path, n_rows: int, n_columns: int = 10, *, messy: bool = False, seed: int = 1
) -> LargeLog:
    """Write a run of exactly `n_rows` rows (at least 100,000) and `n_columns` (6 or more).

    Clean: commas, units in the header. Messy: comment lines, a units row, semicolons, decimal
    commas, blank cells. Columns over ten are constant and mean nothing.
    """
    if n_columns < 6:
        raise ValueError("a large log has at least 6 columns")
    path = Path(path)
    rng = np.random.default_rng(seed)
    columns = {h: v[:n_rows] for h, v in _columns(_readings(n_rows, rng), n_columns).items()}
    if messy:
        for header in ("Voltage", "Power factor", "Frequency"):
            if header in columns:
                columns[header][rng.random(n_rows) < 0.001] = np.nan
    _write(path, columns, messy)
    return LargeLog(path, n_rows, truth(MOTOR, LINE, RIG.drag), _bench())


def _readings(n_rows: int, rng) -> Readings:
    motor = _Tabled(MOTOR, LINE)
    lowest = truth(MOTOR, LINE, RIG.drag).speed_at_max * 0.6
    speeds = along_the_line(MOTOR, LINE, RIG, lowest, N_DWELLS)
    plan = dwells(
        speeds,
        hold_s=SHORTEST_HOLD_S,
        travel_s=0.5,
        interval_s=INTERVAL_S,
        idle_before_s=3.0,
        idle_after_s=4.0,
        free_s=3.0,
        supply_wobble_rel=0.0,
    )
    spare_s = n_rows * INTERVAL_S - seconds_needed(MOTOR, LINE, RIG, plan) - 3.0
    if spare_s < 0:
        raise ValueError("too few rows for a whole run; give at least 100,000")
    longer = SHORTEST_HOLD_S + spare_s / N_DWELLS
    steps = tuple(replace(s, hold_s=longer if s.speed else s.hold_s) for s in plan.steps)
    return brake_run(motor, LINE, RIG, replace(plan, steps=steps), rng)


def _columns(readings: Readings, n_columns: int) -> dict[str, np.ndarray]:
    channels = dict(readings.channels)
    apparent = channels["voltage"] * channels["current"]
    channels["power_factor"] = np.divide(
        channels["power"], apparent, out=np.zeros_like(apparent), where=apparent > 0
    )
    columns = {
        header: np.round(channels[channel] * times, decimals)
        for header, (channel, times, decimals, _) in list(COLUMNS.items())[:n_columns]
    }
    for extra in range(n_columns - len(columns)):
        columns[f"Spare {extra + 1}"] = np.full(channels["time"].size, 7.0)
    return columns


def _write(path: Path, columns: dict[str, np.ndarray], messy: bool) -> None:
    units = [COLUMNS[h][3] if h in COLUMNS else "" for h in columns]
    n_rows = len(columns["Time"])
    if messy:
        head = MESSY_HEAD + ";".join(columns) + "\n" + ";".join(units) + "\n"
    else:
        named = [f"{h} ({u})" if u else h for h, u in zip(columns, units, strict=True)]
        head = ",".join(named) + "\n"
    with path.open("wb") as file:
        file.write(head.encode())
        for start in range(0, n_rows, 500_000):
            part = {h: v[start : start + 500_000] for h, v in columns.items()}
            file.write(_rows(part, messy))


def _rows(part: dict[str, np.ndarray], messy: bool) -> bytes:
    """Rows as text: by polars where it is installed, else by numpy's own writer."""
    try:
        import polars
    except ImportError:
        return _rows_slowly(part, messy)
    frame = polars.DataFrame(part).fill_nan(None)
    text = frame.write_csv(
        include_header=False,
        separator=";" if messy else ",",
        decimal_comma=messy,
        float_precision=4,
    )
    return text.encode()


def _rows_slowly(part: dict[str, np.ndarray], messy: bool) -> bytes:
    form = (";" if messy else ",").join(["%.4f"] * len(part))
    text = "\n".join(form % row for row in zip(*(v.tolist() for v in part.values()), strict=True))
    if messy:
        text = text.replace(".", ",").replace("nan", "")
    return (text + "\n").encode()


def _bench() -> str:
    top = truth(MOTOR, LINE, RIG.drag).free_speed * 1.05
    return bench_toml(
        {
            "plate": {
                "voltage": "120 V",
                "supply": "AC",
                "frequency": "60 Hz",
                "current": "10 A",
                "circuit": "15 A",
                "motor_family": "series",
            },
            "rig": {
                "inertia": f"{RIG.inertia:g} kg m^2",
                "rotor_inertia": f"{RIG.rotor_inertia:g} kg m^2",
                "drag": [[f"{s:.2f} rad/s", f"{t:.6f} N m"] for s, t in RIG.drag_table(top)],
                "pulses_per_revolution": f"{RIG.pulses_per_revolution:g}",
            },
            "claim": [
                {"quantity": "power", "value": "3 hp", "wording": "3 peak hp of a made-up motor"}
            ],
            "instrument": [
                {"channel": "torque", "of_reading": "0.2 %"},
                {"channel": "speed", "of_reading": "0.05 %"},
                {"channel": "power", "of_reading": "0.2 %"},
                {"channel": "voltage", "of_reading": "0.1 %"},
                {"channel": "current", "of_reading": "0.1 %"},
            ],
        }
    )
