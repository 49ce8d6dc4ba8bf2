"""Watched tests and one's own bench on both databases."""

from datetime import timedelta

import pytest
from sqlalchemy import Engine, select, update

from server.actions.open_live_test import open_live_test
from server.actions.update_live_test import remove_expired_tests, update_live_test
from server.actions.view_my_bench import view_my_bench
from server.errors import NotFound
from server.model.live import LiveQuantity
from server.model.views import Tester
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.journal import now
from server.store.live import live_stamp, live_view
from tests.api.logs import small_log
from tests.threats.fill import fill_ledger

READINGS = {
    "at_s": 3.0, "n_lines": 9, "n_unreadable": 0, "now": {"torque": 0.25}, "highest": {},
    "trace_s": [1.0, 3.0], "trace": {"torque": [None, 0.25]},
}  # fmt: skip


def test_a_test_is_opened_told_and_swept(engine: Engine, tester: Tester) -> None:
    with write_session(engine) as session:
        address = open_live_test(session, tester=tester, title="Third run").address
    with read_session(engine) as session:
        first = live_stamp(session, address=address)
        assert live_view(session, address=address).readings.now == {}
    with write_session(engine) as session:
        update_live_test(session, address=address, tester=tester, readings=READINGS)
    with read_session(engine) as session:
        view = live_view(session, address=address)
        assert view.readings.now == {LiveQuantity.TORQUE: 0.25}
        assert view.readings.trace[LiveQuantity.TORQUE] == (None, 0.25)
        assert live_stamp(session, address=address) != first
    with write_session(engine) as session:
        session.execute(update(t.LiveTestRow).values(expires_at=now() - timedelta(seconds=1)))
    with read_session(engine) as session:
        assert live_stamp(session, address=address) is None
        with pytest.raises(NotFound):
            live_view(session, address=address)
    with write_session(engine) as session:
        remove_expired_tests(session)
        assert session.execute(select(t.LiveTestRow)).first() is None


def test_a_bench_with_a_run_reads_alike(engine: Engine, settings: Settings, tester: Tester) -> None:
    public_id = fill_ledger(settings, engine, log=small_log(), tester=tester.name)
    with write_session(engine) as session:
        open_live_test(session, tester=tester, title=None)
    with read_session(engine) as session:
        owner = session.scalars(select(t.RunRow.tester_id)).one()
        row = session.get_one(t.TesterRow, owner)
        own = Tester(row.id, row.public_id, row.name, tester.scopes)
        bench = view_my_bench(session, tester=own, calibration_months=12)
    assert [run.public_id for run in bench.runs] == [public_id]
    assert [effect.run_id for effect in bench.effects] == [public_id]
    assert bench.effects[0].without is None
    assert bench.repeats == ()
    assert bench.asked == ()
    assert len(bench.rigs) == 1
