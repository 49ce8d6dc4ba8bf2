"""`benchledger recompute --compare` as a maintainer would call it, on a ledger with real figures.

A move is counted in the figure's own standard uncertainty: common practice, no source.
"""

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import Engine, select, update

from server.actions.prepare_run import prepare_run
from server.actions.reduce_log import limits_of
from server.actions.submit_run import submit_run
from server.cli import main
from server.intake import bench_from_mapping
from server.model.methods import METHOD_VERSIONS
from server.model.views import Tester
from server.model.words import MetricName, RunKind
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.files import keep_upload_from
from tests.api.logs import BENCH, small_log

POWER, TORQUE = MetricName.SHAFT_POWER_MAX_STEADY, MetricName.TORQUE_AT_MAX_STEADY_POWER
TODAY = METHOD_VERSIONS[RunKind.BRAKE]


@dataclass(frozen=True)
class Told:
    code: int
    out: str
    err: str


@dataclass(frozen=True)
class Ledger:
    engine: Engine
    old: str
    same: str
    capsys: pytest.CaptureFixture[str]
    patch: pytest.MonkeyPatch

    def call(self, *words: str) -> Told:
        """The command, in this process: what it needs of numerics is loaded once."""
        self.patch.setattr(sys, "argv", ["benchledger", "recompute", *words])
        self.capsys.readouterr()
        with pytest.raises(SystemExit) as end:
            main()
        told = self.capsys.readouterr()
        assert isinstance(end.value.code, int)
        return Told(end.value.code, told.out, told.err)

    def rows(self) -> dict[str, list[str]]:
        """Every row of every table."""
        with read_session(self.engine) as session:
            return {
                table.name: sorted(repr(tuple(row)) for row in session.execute(select(table)))
                for table in t.Table.metadata.sorted_tables
            }


@pytest.fixture
def ledger(
    settings: Settings,
    engine: Engine,
    tester: Tester,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> Ledger:
    """Two published runs; the figures of one are doctored as an older method's: highest steady
    power 3 u too low, its torque 0.5 u too high."""
    ids = []
    for model, scale in (("WD-30", 1.0), ("Shed 40", 0.8)):
        log = tmp_path / f"{model}.csv"
        log.write_text(small_log(torques_nm=tuple(scale * 0.1 * i for i in range(9))))
        described = {
            **BENCH,
            "appliance": {"maker": "Millbeck", "model": model, "category": "wet/dry vacuum"},
            "instrument": [{"channel": "torque", "of_reading": "0.5 %"}],
        }
        bench = bench_from_mapping(json.loads(json.dumps(described)))
        upload = keep_upload_from(settings.files, log, name=log.name)
        prepared = prepare_run(
            upload.path,
            file_name=upload.name,
            bench=bench,
            limits=limits_of(settings),
        )
        with write_session(engine) as session:
            run = submit_run(session, prepared=prepared, upload=upload, bench=bench, tester=tester)
            ids.append(run.public_id)
    _doctor(engine, ids[0])
    monkeypatch.setenv("BENCHLEDGER_DATA", str(settings.data))
    monkeypatch.setenv("COLUMNS", "200")
    if settings.database_url is not None:
        monkeypatch.setenv("BENCHLEDGER_DATABASE_URL", settings.database_url)
    return Ledger(engine, *ids, capsys, monkeypatch)


def _doctor(engine: Engine, public_id: str) -> None:
    metric, made = t.MetricRow, t.MetricSetRow
    with write_session(engine) as session:
        run = session.execute(select(t.RunRow).where(t.RunRow.public_id == public_id)).scalar_one()
        session.execute(
            update(made).where(made.id == run.current_set_id).values(method_version="old-1")
        )
        for name, shift in ((POWER, -3.0), (TORQUE, 0.5)):
            session.execute(
                update(metric)
                .where(metric.metric_set_id == run.current_set_id, metric.name == name)
                .values(value=metric.value + shift * metric.standard_uncertainty)
            )


def test_compare_prints_what_would_move_and_stores_nothing(ledger: Ledger) -> None:
    before = ledger.rows()
    done = ledger.call("--compare", "--json")
    assert (done.code, done.err) == (0, "")
    assert ledger.rows() == before
    assert len(before["metric_set"]) == 2
    assert before["audit_event"]
    shape = json.loads(done.out)
    (run,) = shape["runs"]
    assert (run["run"], run["appliance"]) == (ledger.old, "Millbeck WD-30")
    assert (run["method_before"], run["method_after"]) == ("old-1", TODAY)
    assert (run["state_before"], run["state_after"]) == ("published", "published")
    # The largest move first, each in the uncertainty of the old figure.
    assert [(one["name"], one["unit"]) for one in run["figures"]] == [
        (POWER.value, "W"),
        (TORQUE.value, "N m"),
    ]
    for one, n_u in zip(run["figures"], (3.0, -0.5), strict=True):
        old, new = one["before"], one["after"]
        assert one["standard_uncertainties"] == pytest.approx(n_u, rel=1e-6)
        moved = (new["value"] - old["value"]) / old["standard_uncertainty"]
        assert one["standard_uncertainties"] == pytest.approx(moved)
    assert shape["summary"] == {
        "runs_compared": 2,
        "runs_moved": 1,
        "figures_moved": 2,
        "figures_moved_over_one": 1,
        "figures_not_counted": 0,
        "runs_changing_state": [],
    }


def test_in_words_it_ends_with_a_summary(ledger: Ledger) -> None:
    done = ledger.call("--compare")
    assert (done.code, done.err) == (0, "")
    lines = done.out.replace("\u00a0", " ").splitlines()
    assert lines[0] == f"{ledger.old} Millbeck WD-30  old-1 → {TODAY}"
    assert "(+3.0 standard uncertainties)" in lines[1]
    assert "(−0.50 standard uncertainties)" in lines[2]
    assert lines[3] == "2 runs compared; nothing was stored."
    assert lines[4] == (
        "2 figures of one published run would move, 1 by more than one standard uncertainty."
    )


def test_only_the_named_or_stale_ones_are_compared(ledger: Ledger) -> None:
    for words, n_compared, n_moved in (
        ([ledger.same], 1, 0),
        ([ledger.old, ledger.same], 2, 1),
        (["--stale"], 1, 1),
    ):
        summary = json.loads(ledger.call("--compare", "--json", *words).out)["summary"]
        assert (summary["runs_compared"], summary["runs_moved"]) == (n_compared, n_moved)


def test_recomputing_publishes_it_and_keeps_the_old(ledger: Ledger) -> None:
    done = ledger.call()
    assert done.code == 0, done.err
    assert "(+3.0 standard uncertainties)" in done.out
    assert "2 recomputed, 1 changed." in done.out
    assert len(ledger.rows()["metric_set"]) == 3
    done = ledger.call("--compare")
    assert "No published figure would move." in done.out


def test_a_wrong_call_is_refused_in_words(ledger: Ledger) -> None:
    unknown = ledger.call("--compare", "zzzzzzzzzz")
    assert unknown.code == 1
    assert "zzzzzzzzzz" in unknown.err
    alone = ledger.call("--json")
    assert alone.code == 2
    assert "--compare" in alone.err


def test_the_tables_of_another_version_are_not_touched(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "server.cli", "recompute", "--compare"],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"BENCHLEDGER_DATA": str(tmp_path)},
    )
    assert done.returncode == 1
    assert "benchledger migrate" in done.stderr
