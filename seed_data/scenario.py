"""The story: three workshops of one repair network test what the bins and shops bring them.

Tarlune has two brakes, Brackferry two, Pellindor three; none writes its logs like another.
`write` makes every log and bench file, and a manifest with what was true of each.
"""

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np

from seed_data.bench_file import appliance_tables, bench_toml, rig_table, run_table
from seed_data.benches import SETUPS, Setup
from seed_data.brake import Plan, Readings, Step, brake_run
from seed_data.dialects import write_log
from seed_data.motors import InductionMotor, Line, Motor, Truth, truth
from seed_data.other_story import OTHERS, ToldOther
from seed_data.others import make_other
from seed_data.plans import along_the_line, dwells, grab, sweep
from seed_data.rigs import BrakeRig
from seed_data.seed_run import SeedRun
from seed_data.story import STORY, Told
from seed_data.things import PIECES, THINGS, Thing

SEED = 20_260_514
N_RUNS = len(STORY) + len(OTHERS)


def write(
    out_dir: str | Path, progress: Callable[[int, int, SeedRun], None] | None = None
) -> list[SeedRun]:
    """Write all runs and `manifest.json` into `out_dir`; the same bytes every time."""
    folder = Path(out_dir)
    folder.mkdir(parents=True, exist_ok=True)
    runs = []
    for order, told in enumerate((*STORY, *OTHERS), start=1):
        run, log, bench = make(order, told)
        (folder / run.log).write_bytes(log)
        (folder / run.bench).write_text(bench, encoding="utf-8", newline="\n")
        runs.append(run)
        if progress is not None:
            progress(order, N_RUNS, run)
    manifest = {"seed": SEED, "runs": [asdict(run) for run in runs]}
    text = json.dumps(manifest, indent=1, ensure_ascii=False)
    (folder / "manifest.json").write_text(text + "\n", encoding="utf-8", newline="\n")
    return runs


def make(order: int, told: Told | ToldOther) -> tuple[SeedRun, bytes, str]:
    """One run: its record, its log, its bench file."""
    rng = np.random.default_rng([SEED, order])
    piece = next(p for p in PIECES if p.key == told.piece)
    thing = next(t for t in THINGS if t.key == piece.thing)
    motor = piece.motor(thing.motor)
    line = replace(thing.line, voltage_v=told.source_v or thing.line.voltage_v * 1.01)
    make_kind = make_other if isinstance(told, ToldOther) else _make_brake
    setup, log, says, tables = make_kind(told, thing, motor, line, rng)
    stem = f"{order:02d}-{thing.key}-{setup.key}"
    run = SeedRun(
        order=order,
        tester=setup.tester,
        appliance=f"{thing.maker} {thing.model}",
        specimen=piece.label,
        rig=setup.rig.name,
        log=f"{stem}.{'txt' if setup.dialect.separator == chr(9) else 'csv'}",
        bench=f"{stem}.toml",
        about=told.about,
        expects=told.expects,
        **says,
    )
    return run, log, bench_toml({**appliance_tables(thing, piece), **tables})


def _make_brake(
    told: Told, thing: Thing, motor: Motor, line: Line, rng: np.random.Generator
) -> tuple[Setup, bytes, dict, dict]:
    setup = next(s for s in SETUPS if s.key == told.setup)
    inertia = setup.rig.inertia + thing.rotor_inertia
    rig = replace(setup.rig, inertia=inertia, rotor_inertia=thing.rotor_inertia)
    found = truth(motor, line, rig.drag)
    plan = _plan(motor, line, rig, told, setup, found)
    log = _log(brake_run(motor, line, rig, plan, rng), rig, setup, told, rng)
    says = {"is_sound": told.is_sound, "is_bracketed": told.is_bracketed, "truth": found}
    return setup, log, says, _tables(setup, rig, line, told, found)


def _plan(motor, line: Line, rig: BrakeRig, told: Told, setup: Setup, found: Truth) -> Plan:
    if isinstance(motor, InductionMotor):
        sync = motor.synchronous(line)
        lowest = sync - (sync - found.speed_at_max) * (2 - told.depth) * 0.95
        lowest = lowest if told.is_bracketed else sync - (sync - found.speed_at_max) * told.depth
    else:
        lowest = found.speed_at_max * told.depth
    every = told.interval_s or setup.interval_s
    resting = {"interval_s": every, "idle_before_s": 5.0, "idle_after_s": 5.0, "free_s": 6.0}
    if told.style == "sweep":
        top = 0.97 * found.free_speed
        return sweep(lowest, top, down_s=told.hold_s * 5, up_s=told.hold_s * 5, **resting)
    speeds = along_the_line(motor, line, rig, lowest, told.n_dwells)
    if told.style == "grab":
        return grab(lowest * 0.6, down_s=told.grab_s, first=speeds, **resting)
    plan = dwells(speeds, hold_s=told.hold_s, travel_s=1.2, **resting)
    if told.end_early is None:
        return plan
    steps = plan.steps[:-1]
    if told.end_early == "fuse":
        steps = (*steps[:-1], replace(steps[-1], hold_s=0.3 * told.hold_s))
    else:
        steps = (*steps, Step(lowest * 0.25, 2.0, 9.0))
    return replace(plan, steps=steps, end_early=told.end_early)


def _log(readings: Readings, rig: BrakeRig, setup: Setup, told: Told, rng) -> bytes:
    channels = dict(readings.channels)
    channels["force"] = channels["torque"] / (rig.arm_m or 1.0)
    channels["apparent_power"] = channels["voltage"] * channels["current"]
    channels["power_factor"] = np.divide(
        channels["power"],
        channels["apparent_power"],
        out=np.zeros_like(channels["power"]),
        where=channels["apparent_power"] > 0,
    )
    if told.slip is not None:
        channels[told.slip[0]] = channels[told.slip[0]] * told.slip[1]
    log = write_log(channels, setup.units, setup.dialect, rng)
    return log[: -told.cut_bytes] if told.cut_bytes else log


def _tables(setup: Setup, rig: BrakeRig, line: Line, told: Told, found: Truth) -> dict:
    is_force = "force" in setup.units
    arm = rig.arm_m if is_force and rig.arm_m else 1.0
    unit = "N" if is_force else "N m"
    span = rig.torque_range_nm / arm
    instruments = []
    for channel, accuracy in setup.accuracy.items():
        name = "force" if channel == "torque" and is_force else channel
        if channel == "power" and not setup.states_power:
            continue
        ranged = {
            "range": f"{span:.6g} {unit}",
            "resolution": f"{span / rig.torque_steps:.2g} {unit}",
        }
        instruments.append({"channel": name, **accuracy, **(ranged if channel == "torque" else {})})
    states = ["inertia", "rotor_inertia", "drag", *(["arm"] if is_force else [])]
    pulses = rig.pulses_per_revolution
    more = {
        "pulses_per_revolution": f"{pulses:g}" if pulses else None,
        "averaging": "100 ms",
        "meter_bandwidth": rig.meter_bandwidth,
    }
    return {
        "rig": rig_table(rig, setup, states, found.free_speed * 1.05, line.is_ac, **more),
        "instrument": instruments,
        "run": run_table(told, tested_on=told.tested_on, source="logger"),
    }
