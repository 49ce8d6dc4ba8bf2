"""Which room may import which. Widening a row is a reviewed decision."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SERVER = ROOT / "server"

STDLIB = set(sys.stdlib_module_names) | {"server", "__future__"}
NUMERICS = {"numpy", "scipy", "tsdownsample"}
READERS = {"numpy", "polars", "openpyxl", "defusedxml", "PIL"}
CREDENTIALS = {"argon2", "authlib", "cryptography", "email_validator", "joserfc", "pyotp", "segno",
               "webauthn", "zxcvbn"}  # fmt: skip

# room: (rooms of ours it may import, outside packages it may import)
ROOMS: dict[str, tuple[set[str], set[str]]] = {
    "errors": (set(), set()),
    "settings": ({"errors", "model"}, {"pydantic", "pydantic_settings"}),
    "model": ({"errors"}, {"numpy"}),  # numpy for type checkers only, tested below
    "units": ({"model", "errors"}, {"pint"}),
    "reduction": ({"model", "errors"}, NUMERICS),
    "intake": ({"model", "units", "errors"}, READERS),
    "store": (
        {"model", "errors", "settings"},
        {"sqlalchemy", "alembic", "obstore", "polars", "orjson"},
    ),
    "credentials": ({"model", "errors"}, CREDENTIALS),  # pure: no SQL, no HTTP
    "mail": ({"model", "errors", "settings"}, set()),
    "actions": (
        {"model", "units", "errors", "settings", "intake", "reduction", "store", "credentials"},
        {"sqlalchemy"},
    ),
    "wording": ({"model", "units"}, set()),
    "charts": ({"model", "wording"}, {"orjson"}),
    "api": (
        {"dependencies", "problems", "errors", "model", "actions", "store", "wording", "charts",
         "settings", "intake", "sign_in"},
        {"fastapi", "starlette", "pydantic", "sqlalchemy", "orjson"},
    ),
    "pages": (
        {"dependencies", "problems", "errors", "model", "actions", "store", "wording", "charts",
         "settings", "intake", "sign_in", "static_files", "units", "mail"},
        {"fastapi", "starlette", "jinja2", "sqlalchemy", "orjson", "markdown_it"},
    ),
}  # fmt: skip
EDGES = {"app", "worker", "cli", "commands", "dependencies", "problems", "middleware", "sign_in",
         "static_files"}  # fmt: skip


def room_of(path: Path) -> str:
    return path.relative_to(SERVER).parts[0].removesuffix(".py")


def imports_of(tree: ast.AST) -> list[str]:
    found: list[str] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written in full"
            found += (
                [f"server.{alias.name}" for alias in node.names]
                if node.module == "server"
                else [node.module or ""]
            )
    return found


FILES = sorted(p for p in SERVER.rglob("*.py") if p.parent != SERVER or p.name != "__init__.py")


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(SERVER)))
def test_each_room_imports_only_what_it_may(path: Path) -> None:
    room = room_of(path)
    if room in EDGES:
        return
    ours, outside = ROOMS[room]
    for name in imports_of(ast.parse(path.read_text())):
        if name == "server.__version__":
            continue
        top, *rest = name.split(".")
        if top == "server":
            assert rest[0] in ours | {room}, f"{room} may not import server.{rest[0]}"
        else:
            assert top in STDLIB | outside, f"{room} may not import {top}"


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(SERVER)))
def test_files_and_functions_stay_small(path: Path) -> None:
    text = path.read_text()
    assert text.count("\n") <= 300
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            assert length <= 60, f"{node.name} has {length} lines"


def test_every_room_is_in_the_table() -> None:
    found = {room_of(path) for path in FILES}
    assert found <= set(ROOMS) | EDGES, f"not in the table: {found - set(ROOMS) - EDGES}"


COMMITTERS = {
    "dependencies.py",  # the session of a request
    "worker.py",
    "commands",
    "store/database.py",  # the sessions that the three above use
}


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(SERVER)))
def test_only_the_edges_commit(path: Path) -> None:
    place = path.relative_to(SERVER).as_posix()
    if any(place == c or place.startswith(f"{c}/") for c in COMMITTERS):
        return
    calls = [
        node.lineno
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr == "commit"
    ]
    assert not calls, f"{place} commits in lines {calls}"


@pytest.mark.parametrize("room", ["api", "pages"])
def test_no_select_at_the_edges(room: str) -> None:
    for path in (SERVER / room).rglob("*.py"):
        assert "select(" not in path.read_text(), f"{path.name} queries by itself"


def test_the_web_process_starts_without_numerics() -> None:
    heavy = ["numpy", "scipy", "polars", "pint", "plotly", "tsdownsample", "PIL", "openpyxl",
             "argon2", "webauthn", "authlib", "zxcvbn", "segno"]  # fmt: skip
    script = (
        "import sys; from server.app import create_app; import server.pages, server.api; "
        f"print([m for m in {heavy!r} if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert done.stdout.strip() == "[]"


def test_the_demonstration_shares_no_code_with_the_server() -> None:
    for path in (ROOT / "seed_data").rglob("*.py"):
        names = imports_of(ast.parse(path.read_text()))
        assert not [n for n in names if n.split(".")[0] == "server"], path.name
