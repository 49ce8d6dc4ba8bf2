"""Bench files as text, every quantity with its unit."""

import json
from collections.abc import Collection

from seed_data.benches import Setup
from seed_data.motors import RPM
from seed_data.other_story import ToldOther
from seed_data.rigs import BrakeRig
from seed_data.story import Told
from seed_data.things import Piece, Thing


def bench_toml(parts: dict) -> str:
    """`parts`: table name -> mapping, or list of mappings for repeated tables."""
    blocks = []
    for table, content in parts.items():
        for entry in content if isinstance(content, list) else [content]:
            head = f"[[{table}]]" if isinstance(content, list) else f"[{table}]"
            lines = [f"{_key(k)} = {_value(v)}" for k, v in entry.items() if v is not None]
            if lines:
                blocks.append("\n".join([head, *lines]))
    return "\n\n".join(blocks) + "\n"


def appliance_tables(thing: Thing, piece: Piece) -> dict:
    """What is sold, its plate, what is printed on it, and the piece under test."""
    line = thing.line
    return {
        "appliance": {
            "maker": thing.maker,
            "model": thing.model,
            "model_number": thing.model_number,
            "category": thing.category,
            "market": thing.market,
            "produced": thing.produced,
        },
        "plate": {
            "voltage": f"{line.voltage_v:g} V",
            "supply": "AC" if line.is_ac else "DC",
            "frequency": f"{line.frequency_hz:g} Hz" if line.is_ac else None,
            "current": f"{thing.rated_a:g} A",
            **dict(thing.plate),
            "circuit": thing.circuit,
            "motor_family": thing.motor.family,
        },
        "claim": list(thing.claims),
        "specimen": {
            "label": piece.label,
            "condition": piece.condition,
            "hours": piece.hours,
            "obtained": piece.obtained,
            "brushes_run_in": piece.brushes_run_in,
        },
    }


def rig_table(
    rig: BrakeRig,
    setup: Setup,
    states: Collection[str],
    top: float,
    real_power: bool | None,
    **more,
) -> dict:
    """What a workshop states of its rig: of arm, inertias and drag (up to `top`) those named."""
    stated = {
        "arm": f"{rig.arm_m * 1e3:g} mm" if rig.arm_m else None,
        "inertia": f"{rig.inertia:.4g} kg m^2",
        "rotor_inertia": f"{rig.rotor_inertia:.4g} kg m^2",
        "inertia_uncertainty": more.pop("inertia_uncertainty", None),
        "drag": [[f"{s / RPM:.0f} rpm", f"{t * 1e3:.4g} mN m"] for s, t in rig.drag_table(top)],
    }
    return {
        "name": f"{rig.name} ({setup.tester.split()[0]})",
        "absorber": rig.absorber,
        **{key: stated[key] for key in stated if key in (*states, "inertia_uncertainty")},
        "drag_before_sensor": setup.drag_note or None,
        **more,
        "meter_true_rms": True,
        "meter_real_power": real_power,
    }


def run_table(told: Told | ToldOther, **more: object) -> dict:
    return {
        **more,
        "ambient": "21 °C",
        "supply_note": told.supply_note,
        "notes": told.about,
    }


def _key(key: str) -> str:
    return key if key.replace("_", "").isalnum() and key.isascii() else json.dumps(key)


def _value(value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    return json.dumps(str(value), ensure_ascii=False)
