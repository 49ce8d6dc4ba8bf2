"""Check the whole record: journal, heads, rows, catalogue, figures and files."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from server.actions.check_files import check_files
from server.actions.check_heads import check_heads, kept_heads
from server.actions.check_journal import check_journal
from server.actions.check_rows import check_figures, check_listing, check_rows
from server.model.checking import Fault, Note, OnDone, OnStep, SignedHead
from server.model.checking import ignore_done as _ignore_done
from server.model.checking import ignore_step as _ignore_step
from server.store.dump import begin_snapshot
from server.store.files import ORPHAN_AGE_S


def verify(
    engine: Engine,
    *,
    data: Path,
    files: Path,
    heads: Sequence[tuple[str, SignedHead]] = (),
    orphan_age_s: float = ORPHAN_AGE_S,
    on_step: OnStep = _ignore_step,
    on_done: OnDone = _ignore_done,
) -> Iterator[Fault | Note]:
    """Check everything that is kept; the service may be running.

    Parameters
    ----------
    data : the data folder, with the public keys and the heads that were published.
    files : folder of the stored files.
    heads : heads that somebody kept elsewhere, each with what to call it.
    orphan_age_s : a file without a row is on its way until it is this old.
    on_step, on_done : for a progress bar.

    Yields
    ------
    A Fault for each thing that is not as it was written, Notes of what is worth saying; none of
    the first: the record is sound.

    Notes
    -----
    All rows are read as they stood at one moment, in batches; files are read as they are.
    """
    with begin_snapshot(engine) as connection, Session(connection) as session:
        published = kept_heads(session, data=data)
        every = [*heads, *published]
        yield from check_journal(session, heads=every, on_step=on_step, on_done=on_done)
        yield from check_heads(session, data=data, heads=every, on_step=on_step, on_done=on_done)
        yield from check_rows(session, on_step=on_step, on_done=on_done)
        yield from check_listing(session, on_step=on_step, on_done=on_done)
        yield from check_figures(session, on_step=on_step, on_done=on_done)
        yield from check_files(
            session,
            engine,
            files=files,
            orphan_age_s=orphan_age_s,
            on_step=on_step,
            on_done=on_done,
        )
