"""The table of threats names tests that exist."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_each_test_that_the_table_names_exists() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text().split("## Threats and their tests")[1]
    rows = [line for line in text.split("\n## ")[0].splitlines() if line.startswith("| ")][1:]
    assert len(rows) > 12
    for row in rows:
        named = re.findall(r"`(tests/[\w/]+\.py)::(test_\w+)`", row)
        assert named, f"no test is named: {row[:60]}"
        for path, name in named:
            tree = ast.parse((ROOT / path).read_text())
            there = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
            assert name in there, f"{path} has no {name}"
