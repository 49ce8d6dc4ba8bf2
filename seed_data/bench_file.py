"""Bench files as text, every quantity with its unit."""

import json


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
