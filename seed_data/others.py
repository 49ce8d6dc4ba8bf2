"""Files of the scenario's runs of other kinds: which simulation, which log, which bench file."""

from dataclasses import replace

import numpy as np

from seed_data.bench_file import rig_table, run_table
from seed_data.benches import Setup
from seed_data.dialects import PER_SI, write_log
from seed_data.motors import Line, Motor, truth
from seed_data.other_kinds import FAN_INERTIA, Made, in_use, noted, rotor_held, run_downs, run_up
from seed_data.other_story import ToldOther
from seed_data.rigs import BrakeRig
from seed_data.stands import STANDS, Stand
from seed_data.things import Thing

PICTURES_PER_S = 25
NOTED_UNITS = {"voltage": "V", "current": "A", "power": "W", "torque": "N·m", "speed": "rpm"}


def make_other(
    told: ToldOther, thing: Thing, motor: Motor, line: Line, rng: np.random.Generator
) -> tuple[Setup, bytes, dict, dict]:
    """One run of another kind: setup, log, what its record says of it, tables of its bench file."""
    stand = next(s for s in STANDS if s.setup.key == told.stand)
    stated = thing.rotor_inertia + (told.added if told.kind == "run-up" else 0.0)
    rig = replace(stand.setup.rig, inertia=stated, rotor_inertia=thing.rotor_inertia)
    made = _made(motor, line, rig, told, stand, rng)
    log = _notes(made, told, stand) if stand.decimals else _log(made, rig, stand, rng)
    found = truth(motor, line)
    says = {"is_sound": True, "is_bracketed": True, "truth": found, "kind": told.kind}
    top = made.true.get("free_speed", found.free_speed) * 1.05
    tables = _tables(line, stand, rig, top, told)
    return stand.setup, log, {**says, "true": made.true}, tables


def _made(motor: Motor, line: Line, rig: BrakeRig, told: ToldOther, stand: Stand, rng) -> Made:
    every, rotor = stand.setup.interval_s, rig.rotor_inertia
    added = told.added * (1 + told.added_error)
    if told.kind == "run-down":
        inertias = (rotor, rotor + added) if added else (rotor,)
        return run_downs(motor, line, rig, inertias, every, rng)
    if told.kind == "run-up":
        return run_up(motor, line, rig, rotor + added, every, rng)
    if told.kind == "in use":
        return in_use(motor, line, rig, rotor + FAN_INERTIA, told.load, every, rng)
    if told.kind == "locked rotor":
        return rotor_held(motor, line, rig, every, rng)
    return noted(motor, line, rig, told.n_loads, twice=told.source == "by hand", rng=rng)


def _log(made: Made, rig: BrakeRig, stand: Stand, rng) -> bytes:
    channels = dict(made.channels)
    if "torque" in channels:
        channels["force"] = channels["torque"] / (rig.arm_m or 1.0)
    return write_log(channels, stand.setup.units, stand.setup.dialect, rng)


def _notes(made: Made, told: ToldOther, stand: Stand) -> bytes:
    """A notebook's table: a load in each line, each display to its last digit."""
    names = list(stand.decimals)
    columns = [[f"{i}" for i in range(made.channels["speed"].size)]]
    headers = ["Load step"]
    if told.source == "video":
        frames = np.round(made.channels["time"] * PICTURES_PER_S) / PICTURES_PER_S
        columns, headers = [[f"{t:.2f}" for t in frames]], ["Time (s)"]
    for name in names:
        unit = NOTED_UNITS[name]
        shown = made.channels[name] * PER_SI[unit]
        headers.append(f"{name.capitalize()} ({unit})")
        columns.append([f"{v + 0.0:.{stand.decimals[name]}f}" for v in shown.tolist()])
    rows = [",".join(headers), *(",".join(row) for row in zip(*columns, strict=True))]
    return ("\n".join(rows) + "\n").encode()


def _tables(line: Line, stand: Stand, rig: BrakeRig, top: float, told: ToldOther) -> dict:
    setup = stand.setup
    is_force = "force" in setup.units
    used = set(setup.units or NOTED_UNITS)
    instruments = [
        {"channel": "force" if channel == "torque" and is_force else channel, **accuracy}
        for channel, accuracy in setup.accuracy.items()
        if channel in used or (channel == "torque" and is_force)
    ]
    real_power = True if line.is_ac and "power" in used else None
    doubt = "0.5 %" if told.added else None
    when = {"kind": told.kind, "tested_on": told.tested_on, "source": told.source}
    if told.kind == "run-down" and told.added:
        when["added_inertia"] = f"{told.added:.4g} kg m^2"
    return {
        "rig": rig_table(rig, setup, stand.states, top, real_power, inertia_uncertainty=doubt),
        "instrument": instruments,
        "run": run_table(told, **when),
    }
