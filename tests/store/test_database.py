"""The engine: writers that wait for each other, keys that are checked, times and numbers."""

import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy import Engine, select, text
from sqlalchemy.exc import IntegrityError, StatementError
from sqlalchemy.orm import Session

from server.actions.submit_run import SubmittedRun, submit_run
from server.errors import Conflict, InvalidInput
from server.model.methods import METHOD_VERSIONS
from server.model.views import Tester
from server.settings import Settings
from server.store import tables as t
from server.store.database import insert_if_absent, read_session, write_session
from server.store.identity import PUBLIC_ALPHABET, new_public_id, slug_of
from tests.actions.examples import example_bench, example_prepared, example_upload


def in_threads(n: int, work: Callable[[int], None]) -> None:
    failures: list[BaseException] = []

    def guarded(nth: int) -> None:
        try:
            work(nth)
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=guarded, args=(nth,)) for nth in range(n)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert failures == []


def test_no_update_is_lost(engine: Engine, tester: Tester) -> None:
    """Read, then write, by four writers at once: each sees what the one before wrote."""
    with write_session(engine) as session:
        session.get_one(t.TesterRow, tester.id).name = "0"

    def count_up(_nth: int) -> None:
        for _ in range(10):
            with write_session(engine) as session:
                row = session.execute(
                    select(t.TesterRow).where(t.TesterRow.id == tester.id).with_for_update()
                ).scalar_one()
                row.name = str(int(row.name) + 1)

    in_threads(4, count_up)
    with read_session(engine) as session:
        assert session.get_one(t.TesterRow, tester.id).name == "40"


def test_the_same_request_at_once_is_one_run(
    settings: Settings, engine: Engine, tester: Tester
) -> None:
    bench = example_bench()
    upload = example_upload(settings.files)
    prepared = example_prepared(settings.files, upload, bench)
    done: list[SubmittedRun] = []

    def send(_nth: int) -> None:
        with write_session(engine) as session:
            run = submit_run(
                session,
                prepared=prepared,
                upload=upload,
                bench=bench,
                tester=tester,
                idempotency_key="one",
            )
        done.append(run)

    in_threads(4, send)
    assert len({run.public_id for run in done}) == 1
    assert [run.is_new for run in done].count(True) == 1


def test_different_runs_of_one_new_appliance_at_once(
    settings: Settings, engine: Engine, tester: Tester
) -> None:
    """They share the appliance, and its row in the catalogue counts them all."""
    bench = example_bench()
    uploads = [example_upload(settings.files, text=f"time,speed\n0,{n}\n") for n in range(4)]
    prepared = [example_prepared(settings.files, upload, bench) for upload in uploads]

    def send(nth: int) -> None:
        with write_session(engine) as session:
            submit_run(
                session, prepared=prepared[nth], upload=uploads[nth], bench=bench, tester=tester
            )

    in_threads(4, send)
    with read_session(engine) as session:
        listing = session.execute(select(t.ListingRow)).scalar_one()
    assert listing.n_runs == 4


def test_a_failed_write_leaves_nothing(engine: Engine, tester: Tester) -> None:
    def rename_and_stop() -> None:
        with write_session(engine) as session:
            session.get_one(t.TesterRow, tester.id).name = "Changed"
            session.flush()
            raise Conflict("stop")

    with pytest.raises(Conflict):
        rename_and_stop()
    with read_session(engine) as session:
        assert session.get_one(t.TesterRow, tester.id).name == tester.name


def test_readers_see_no_half_written_state(engine: Engine, tester: Tester) -> None:
    with write_session(engine) as writing:
        writing.get_one(t.TesterRow, tester.id).name = "Changed"
        writing.flush()
        with read_session(engine) as reading:
            assert reading.get_one(t.TesterRow, tester.id).name == tester.name


def test_foreign_keys_are_checked(engine: Engine) -> None:
    with pytest.raises(IntegrityError), write_session(engine) as session:
        session.execute(text("INSERT INTO listing_word (word, appliance_id) VALUES ('saw', 12345)"))


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO metric (metric_set_id, name, lower_bound) VALUES (1, 'free_speed', false)",
        "INSERT INTO recording (sha256) VALUES (NULL)",
        "UPDATE run SET state = 'lost'",
        "UPDATE run SET state = 'published', published_at = NULL",
        "UPDATE run SET state = 'failed', failure = NULL",
        "UPDATE plate_revision SET voltage_v = 0",
        "UPDATE rig_revision SET arm_m = -1",
        "UPDATE audit_event SET actor = 'nobody'",
        "UPDATE appliance SET merged_into_id = id",
        "UPDATE finding SET severity = 'grave'",
    ],
)
def test_the_database_itself_refuses(
    settings: Settings, engine: Engine, tester: Tester, statement: str
) -> None:
    bench = example_bench()
    upload = example_upload(settings.files)
    prepared = example_prepared(settings.files, upload, bench)
    with write_session(engine) as session:
        for _ in range(2):  # the second has a finding: the same file
            submit_run(session, prepared=prepared, upload=upload, bench=bench, tester=tester)
    with pytest.raises(IntegrityError), write_session(engine) as session:
        session.execute(text(statement))


def test_times_come_back_aware_and_in_utc(session: Session) -> None:
    at = datetime(2026, 7, 1, 12, 0, 0, 123456, tzinfo=timezone(timedelta(hours=5, minutes=30)))
    session.add(t.TesterRow(public_id=new_public_id(), name="Ada Quill", created_at=at))
    session.flush()
    session.expire_all()
    found = session.execute(select(t.TesterRow.created_at)).scalar_one()
    assert found == at
    assert found.tzinfo is UTC


def test_a_time_without_a_zone_is_refused(session: Session) -> None:
    naive = datetime(2026, 7, 1)  # noqa: DTZ001
    session.add(t.TesterRow(public_id=new_public_id(), name="Ada Quill", created_at=naive))
    with pytest.raises(StatementError, match="without a zone"):
        session.flush()


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_a_figure_that_is_no_number_is_refused(session: Session, value: float) -> None:
    row = t.MetricRow(metric_set_id=1, name="free_speed", value=value, lower_bound=False)
    session.add(row)
    with pytest.raises(StatementError, match="can't be stored"):
        session.flush()


@pytest.mark.parametrize("name", ["a\0b", "a\ud800b"])
def test_text_that_one_database_cannot_hold_is_refused_on_both(session: Session, name: str) -> None:
    with pytest.raises(InvalidInput):
        session.execute(select(t.TesterRow.id).where(t.TesterRow.name == name))


def test_an_insert_that_is_there_already_does_nothing(session: Session) -> None:
    values = {"sha256": "a" * 64, "n_bytes": 1, "created_at": datetime.now(UTC)}
    assert insert_if_absent(session, t.StoredFileRow, values, unique=("sha256",))
    assert not insert_if_absent(session, t.StoredFileRow, values, unique=("sha256",))


def test_public_ids_are_short_and_random() -> None:
    ids = {new_public_id() for _ in range(1000)}
    assert len(ids) == 1000
    assert all(len(one) == 10 and set(one) <= set(PUBLIC_ALPHABET) for one in ids)


@pytest.mark.parametrize(
    ("parts", "slug"),
    [
        (("Millbeck", "WD 30"), "millbeck-wd-30"),
        (("Émile & Söhne", "X/1"), "emile-sohne-x-1"),
        (("…", "—"), "unnamed"),
        (("a" * 100,), "a" * 60),
    ],
)
def test_slugs(parts: tuple[str, ...], slug: str) -> None:
    assert slug_of(*parts) == slug


def test_the_method_versions_are_those_of_the_reduction() -> None:
    from server.reduction import METHOD_VERSIONS as OF_REDUCTION

    assert METHOD_VERSIONS == OF_REDUCTION
