"""Bench files as text, every quantity with its unit."""

import json

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
