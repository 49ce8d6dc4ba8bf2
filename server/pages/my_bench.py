"""My bench: what waits for a tester, and what became of their runs."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.actions.set_calibration_months import set_calibration_months
from server.actions.view_my_bench import view_my_bench
from server.dependencies import ReadSession, Signed, WriteSession
from server.dependencies.posted import CheckedForm
from server.model.my_bench import Asked, Calibration, MyBench, Watched
from server.model.views import RunRow, Tester
from server.model.words import RunState
from server.pages.remark_fields import remark_label
from server.pages.request import site_of
from server.pages.rows import show_run
from server.pages.send_pages import show_draft
from server.pages.send_shapes import DraftShown
from server.pages.shapes import Head, Link, Option, RunShown
from server.pages.templating import render
from server.wording.counts import count_of, show_date, show_moment
from server.wording.labels import state_help, state_word
from server.wording.my_bench import (
    concern_words,
    due_words,
    effect_sentence,
    instrument_words,
    is_due,
)

router = APIRouter()

# What needs the tester first.
_ORDER = (
    RunState.RETURNED,
    RunState.FAILED,
    RunState.WAITING,
    RunState.WORKING,
    RunState.PUBLISHED,
    RunState.WITHDRAWN,
)
_SHOWN_EACH = 10
_INTERVALS = (6, 12, 24, 36)


@dataclass(frozen=True, slots=True)
class RunWithRemarks:
    run: RunShown
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RunsInState:
    word: str
    title: str
    help: str
    runs: tuple[RunWithRemarks, ...]
    n_more: str | None


@dataclass(frozen=True, slots=True)
class RigShown:
    name: str
    revision: str
    instruments: str
    href: str


@dataclass(frozen=True, slots=True)
class CalibrationShown:
    instrument: str
    rig: str
    calibrated: str
    due: str
    is_due: bool


@dataclass(frozen=True, slots=True)
class Told:
    """A line with a link: what a run changed, who repeated it, what was asked, what is watched."""

    link: Link
    text: str
    note: str | None = None
    also: str | None = None


@dataclass(frozen=True, slots=True)
class MyBenchPage:
    head: Head
    tester: str
    drafts: tuple[DraftShown, ...]
    states: tuple[RunsInState, ...]
    effects: tuple[Told, ...]
    repeats: tuple[Told, ...]
    asked: tuple[Told, ...]
    rigs: tuple[RigShown, ...]
    calibrations: tuple[CalibrationShown, ...]
    intervals: tuple[Option, ...]
    watched: tuple[Told, ...]


@router.get("/my-bench")
def my_bench(request: Request, session: ReadSession, tester: Signed) -> Response:
    bench = view_my_bench(session, tester=tester)
    page = my_bench_page(tester, bench, today=datetime.now(UTC).date())
    return render(request, "my_bench.html", page, site=site_of(request, tester))


@router.post("/my-bench/calibrations")
def keep_interval(session: WriteSession, tester: Signed, form: CheckedForm) -> Response:
    """Keep how long passes from one calibration to the next."""
    set_calibration_months(session, tester=tester, months=form.number("months"))
    return RedirectResponse("/my-bench#calibrations", status_code=303)


def my_bench_page(tester: Tester, bench: MyBench, *, today: date) -> MyBenchPage:
    months = bench.calibration_months
    return MyBenchPage(
        head=Head(
            title="My bench",
            description="Your rigs, drafts and runs, and what became of them.",
            path="/my-bench",
            json_path="/api/v1/testers/me/bench",
            is_indexed=False,
        ),
        tester=tester.name,
        drafts=tuple(show_draft(draft) for draft in bench.drafts),
        states=tuple(_in_state(state, bench) for state in _ORDER if _of(state, bench)),
        effects=tuple(
            Told(Link(e.appliance_name, f"/runs/{e.run_id}"), effect_sentence(e))
            for e in bench.effects
        ),
        repeats=tuple(
            Told(
                Link(r.appliance_name, f"/runs/{r.run_id}"),
                f"by {r.tester}, {show_date(r.tested_on)}",
            )
            for r in bench.repeats
        ),
        asked=tuple(_asked(one) for one in bench.asked),
        rigs=_rigs(bench),
        calibrations=tuple(_calibration(one, today) for one in bench.calibrations),
        intervals=tuple(
            Option(str(n), f"{n} months", n == months) for n in sorted({*_INTERVALS, months})
        ),
        watched=tuple(_watched(one) for one in bench.watched),
    )


def _of(state: RunState, bench: MyBench) -> Sequence[RunRow]:
    return [run for run in bench.runs if run.state is state]


def _in_state(state: RunState, bench: MyBench) -> RunsInState:
    runs = _of(state, bench)
    n_more = len(runs) - _SHOWN_EACH
    word = state_word(state)
    return RunsInState(
        word=state.value,
        title=f"{word[0].upper()}{word[1:]}: {count_of(len(runs), 'run')}",
        help=state_help(state),
        runs=tuple(
            RunWithRemarks(
                show_run(run),
                tuple(
                    f"{remark_label(r.field)}: {r.text or 'the words were erased'}"
                    for r in bench.remarks.get(run.public_id, ())
                ),
            )
            for run in runs[:_SHOWN_EACH]
        ),
        n_more=f"{count_of(n_more, 'more run')}" if n_more > 0 else None,
    )


def _rigs(bench: MyBench) -> tuple[RigShown, ...]:
    return tuple(
        RigShown(
            name=rig.content.name or "A rig without a name",
            revision=f"revision {rig.revision}",
            instruments=count_of(len(rig.content.instruments), "instrument"),
            href=f"/api/v1/rigs/{rig.public_id}/revisions",
        )
        for rig in bench.rigs
    )


def _calibration(one: Calibration, today: date) -> CalibrationShown:
    return CalibrationShown(
        instrument=instrument_words(one),
        rig=one.rig,
        calibrated=show_date(one.calibrated) if one.calibrated else "not given",
        due=due_words(one, today=today),
        is_due=is_due(one, today=today),
    )


def _asked(one: Asked) -> Told:
    if one.run_id is not None:
        link = Link(one.appliance_name or "A run", f"/runs/{one.run_id}")
    elif one.appliance_id is not None:
        path = f"/appliances/{one.appliance_id}-{one.appliance_slug}"
        link = Link(one.appliance_name or "An appliance", path)
    else:
        link = Link("The ledger", "/")
    words = f"{concern_words(one.kind, one.state)}, {show_date(one.created_at)}"
    return Told(link, words, note=one.text or "The words were erased.", also=one.answer)


def _watched(one: Watched) -> Told:
    ended = "going on" if one.ended_at is None else f"ended {show_moment(one.ended_at)}"
    return Told(
        Link(one.title or "A bench test", f"/live/{one.address}"),
        f"begun {show_moment(one.started_at)}, {ended}, "
        f"can be watched until {show_moment(one.expires_at)}",
    )
