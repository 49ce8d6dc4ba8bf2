"""The documents say what is there: links lead somewhere, commands exist, versions are named."""

import re
import subprocess
from pathlib import Path

import pytest
from typer.testing import CliRunner

from server.app import create_app
from server.cli import app
from server.intake import read_bench
from server.intake.bench_fields import APPLIANCE, CLAIM, PLATE, RIG, RUN, SPECIMEN
from server.reduction import METHOD_VERSIONS
from server.settings import Settings

ROOT = Path(__file__).parent.parent
DOCUMENTS = [p for p in ROOT.rglob("*.md") if not {".venv", "node_modules", "data"} & set(p.parts)]


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda p: str(p.relative_to(ROOT)))
def test_relative_links_lead_to_a_file(document: Path) -> None:
    for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", document.read_text()):
        if "://" not in target and not target.startswith(("mailto:", "/")):
            assert (document.parent / target).exists(), f"{document.name} links to {target}"


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_make_targets_and_commands_named_in_a_document_exist(name: str) -> None:
    text = (ROOT / name).read_text()
    makefile = (ROOT / "Makefile").read_text()
    for target in re.findall(r"`?make ([a-z]+)`?", text):
        if target in {"it", "one", "sure"}:
            continue
        assert re.search(rf"^{target}:", makefile, re.M), f"make {target}"
    commands = set(re.findall(r"benchledger ([a-z]+)", text))
    help_text = CliRunner().invoke(app, ["--help"]).output
    for command in commands:
        assert command in help_text, f"benchledger {command}"


def test_the_bench_file_of_the_readme_can_be_read() -> None:
    block = re.search(r"```toml\n(.*?)```", (ROOT / "README.md").read_text(), re.S)
    assert block is not None
    bench = read_bench(block.group(1), name="README")
    assert bench.plate.voltage_v == pytest.approx(120)
    assert bench.claims[0].value_si == pytest.approx(5 * 745.69987158227)


def test_the_bench_file_of_the_readme_names_what_sending_needs() -> None:
    block = re.search(r"```toml\n(.*?)```", (ROOT / "README.md").read_text(), re.S)
    assert block is not None
    appliance = read_bench(block.group(1), name="README").appliance
    assert appliance.maker
    assert appliance.model


def test_every_key_of_the_bench_file_is_described() -> None:
    page = (ROOT / "docs/methods/reading-a-log.md").read_text()
    for table in (PLATE, RIG, CLAIM, APPLIANCE, SPECIMEN, RUN):
        for key in table:
            assert f"`{key}`" in page, key


def test_every_address_named_in_the_readme_is_served(sqlite_settings: Settings) -> None:
    served = {route.path for route in create_app(sqlite_settings).routes if hasattr(route, "path")}
    pattern = r"`(?:GET |POST )?(/[a-z][a-z0-9/.-]*)`"
    for name in ("README.md", "docs/moderation.md"):
        for address in re.findall(pattern, (ROOT / name).read_text()):
            assert address in served, f"{name}: {address}"


def test_a_log_in_the_body_is_posted() -> None:
    """`curl -T` alone would PUT it, which `/runs` does not take."""
    for example in re.findall(r"curl [^`]*?\n *\"http", (ROOT / "docs/api.md").read_text()):
        assert " -T " not in example or " -X POST " in example, example


def test_every_setting_named_in_a_document_exists() -> None:
    known = {f"BENCHLEDGER_{name.upper()}" for name in Settings.model_fields}
    # Read by the command, by tests and by the composition, not by the service.
    known |= {"BENCHLEDGER_TOKEN", "BENCHLEDGER_SERVER", "BENCHLEDGER_FUZZ_ROUNDS"}
    known |= {"BENCHLEDGER_DATABASE_PASSWORD", "BENCHLEDGER_TEST_POSTGRESQL_URL"}
    for document in DOCUMENTS:
        for name in re.findall(r"BENCHLEDGER_[A-Z_]*[A-Z]\b", document.read_text()):
            begins = f"{name}_"  # "BENCHLEDGER_LIMIT_…": the beginning of several
            assert name in known or any(k.startswith(begins) for k in known), name


@pytest.mark.parametrize("version", METHOD_VERSIONS.values())
def test_a_method_version_has_a_changelog_line_and_a_page(version: str) -> None:
    assert version in (ROOT / "CHANGELOG.md").read_text()
    pages = "".join(p.read_text() for p in (ROOT / "docs" / "methods").glob("*.md"))
    assert version in pages


def test_no_lock_line_records_a_download_address() -> None:
    assert "://" not in (ROOT / "requirements.lock").read_text()


def test_no_tracked_file_is_over_a_mebibyte_but_the_vendored_chart_library() -> None:
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.split("\0")
    large = [
        name
        for name in listed
        if name and (ROOT / name).is_file() and (ROOT / name).stat().st_size > 1 << 20
    ]
    assert all(name.startswith("web/static/vendor/") for name in large), large
