"""What the steps of sending a run ask for: the draft, its bench, its figures; no session is open
while they are made."""

from collections.abc import AsyncIterator, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Annotated

from fastapi import Depends, Request
from sqlalchemy.orm import Session

from server.dependencies import Drafter, Writer
from server.dependencies.resources import Resources, resources_of
from server.dependencies.sessions import WriteTurn
from server.dependencies.threads import in_receiver, in_reduction, in_session
from server.errors import BenchledgerError, Problem, Unusable
from server.model.bench import Bench
from server.model.recording import LogPreview
from server.model.views import DraftView, Tester
from server.pages.send_form import kept_fields, problems_by_field, try_bench
from server.sign_in import FORM_FIELD, check_form
from server.store.database import write_session
from server.store.drafts import draft_view
from server.store.files import StoredUpload, original_path
from server.store.rigs import list_rigs

if TYPE_CHECKING:  # it brings the numerics, which a web process loads with its first log
    from server.actions.prepare_run import PreparedRun
    from server.model.results import Reduction

# Up to so many lines the steps show figures at once; above, the last step does.
QUICK_LINES = 200_000
LINES = "file.n_lines"


@dataclass(frozen=True, slots=True)
class OpenDraft:
    """A draft with what its form says. `problems`: what could not be read of it."""

    draft: DraftView
    form: Mapping[str, str]
    bench: Bench
    problems: tuple[Problem, ...]

    @property
    def n_lines(self) -> int:
        text = self.form.get(LINES, "0")
        return int(text) if text.isdigit() else 0

    def picked(self, what: str) -> str | None:
        return self.form.get(f"pick.{what}") or None


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """A draft's figures. `note` says why there are none, or what they leave open."""

    reduction: "Reduction | None"
    note: str | None
    problems: tuple[Problem, ...] = ()


async def _posted(request: Request) -> dict[str, str]:
    """The fields of a posted form. The body limit has been applied before."""
    form = await request.form(max_fields=2000)
    return {name: value for name, value in form.items() if isinstance(value, str)}


Posted = Annotated[dict[str, str], Depends(_posted)]


async def _open(request: Request, draft_id: str, tester: Drafter) -> OpenDraft:
    resources = resources_of(request)
    find = partial(draft_view, public_id=draft_id, tester=tester)
    draft = await in_session(resources, find)
    form = {**kept_fields(draft.form), LINES: str(draft.form.get(LINES, "0"))}
    bench, problems = await in_receiver(resources, partial(try_bench, form))
    return OpenDraft(draft, form, bench, problems)


Opened = Annotated[OpenDraft, Depends(_open)]
# What describes a new thing means nothing once a known one is picked.
_OF_NEW = {"pick.appliance": ("appliance.", "plate."), "pick.rig": ("rig.", "instrument.")}


async def _unreadable(request: Request, opened: Opened, posted: Posted) -> frozenset[str]:
    """Fields that this step posted with something typed in them that can't be read."""
    form = {**opened.form, **kept_fields(posted)}
    work = partial(try_bench, form)
    _, problems = await in_receiver(resources_of(request), work)
    unused = tuple(start for pick, of in _OF_NEW.items() if form.get(pick) for start in of)
    return frozenset(
        name
        for name in problems_by_field(form, problems)
        if posted.get(name, "").strip() and not name.startswith(unused)
    )


Unreadable = Annotated[frozenset[str], Depends(_unreadable)]


@dataclass(frozen=True, slots=True)
class Look:
    """The head of the file as the sender has it read, as it was guessed, and what is wrong."""

    chosen: LogPreview
    guessed: LogPreview
    problems: tuple[Problem, ...] = ()


def _look(request: Request, opened: Opened) -> Look:
    from server.actions.reduce_log import limits_of
    from server.intake import preview_log

    settings = resources_of(request).settings
    look = partial(
        preview_log,
        original_path(settings.files, opened.draft.file.sha256),
        name=opened.draft.file.name,
        limits=limits_of(settings),
    )
    bench = opened.bench
    look = partial(look, sheet=bench.run.sheet)
    guessed = look()
    pulses = bench.rig.pulses_per_revolution
    try:
        chosen = look(choices=bench.columns, pulses_per_revolution=pulses, kind=bench.run.kind)
        return Look(chosen, guessed)
    except Unusable as error:
        return Look(guessed, guessed, tuple(error.problems))


Looked = Annotated[Look, Depends(_look)]


async def _shortened(
    request: Request, opened: Opened, looked: Looked, posted: Posted
) -> tuple[StoredUpload, int] | None:
    """The file without the lines before its header, where the sender wants them left out."""
    check_form(request, posted.get(FORM_FIELD))
    if posted.get("act") != "strip":
        return None
    from server.actions.leave_out_preamble import leave_out_preamble
    from server.actions.reduce_log import limits_of

    resources = resources_of(request)
    work = partial(
        leave_out_preamble,
        original_path(resources.settings.files, opened.draft.file.sha256),
        file_name=opened.draft.file.name,
        dialect=looked.chosen.dialect,
        limits=limits_of(resources.settings),
        files=resources.settings.files,
    )
    return await in_receiver(resources, work)


Shortened = Annotated[tuple[StoredUpload, int] | None, Depends(_shortened)]


def completed(session: Session, *, opened: OpenDraft, tester: Tester) -> Bench:
    from server.actions.complete_bench import complete_bench

    return complete_bench(
        session,
        bench=opened.bench,
        tester=tester,
        appliance_id=opened.picked("appliance"),
        specimen_id=opened.picked("specimen"),
        rig_id=opened.picked("rig"),
    )


def _with_rig(session: Session, *, opened: OpenDraft, tester: Tester) -> Bench:
    """The bench as described, with the picked rig: it does not wait for an appliance."""
    own = {rig.public_id: rig.content for rig in list_rigs(session, tester=tester)}
    rig = own.get(opened.picked("rig") or "")
    return opened.bench if rig is None else replace(opened.bench, rig=rig)


async def _worked_out(request: Request, opened: Opened, tester: Drafter) -> WorkedOut:
    """Figures beside a step: with what is stored where something was picked, else as described."""
    resources = resources_of(request)
    if opened.n_lines > QUICK_LINES:
        return WorkedOut(None, "The file is long: its figures are made at the last step.")
    return await _figures(resources, opened, tester)


async def _worked_out_whole(request: Request, opened: Opened, tester: Drafter) -> WorkedOut:
    resources = resources_of(request)
    if opened.n_lines > resources.settings.inline_rows:
        note = "The file is very long: its figures are made after it is sent, and can be followed."
        return WorkedOut(None, note)
    return await _figures(resources, opened, tester)


async def _figures(resources: Resources, opened: OpenDraft, tester: Tester) -> WorkedOut:
    problems: tuple[Problem, ...] = ()
    bench = opened.bench
    try:
        bench = await in_session(resources, partial(completed, opened=opened, tester=tester))
    except Unusable as error:  # an appliance that is not named yet does not keep figures away
        problems = tuple(error.problems)
        bench = await in_session(resources, partial(_with_rig, opened=opened, tester=tester))
    work = partial(_reduce, resources, opened.draft, bench)
    try:
        reduction = await in_reduction(resources, work)
    except Unusable as error:
        return WorkedOut(None, None, (*problems, *error.problems))
    except BenchledgerError as error:
        return WorkedOut(None, str(error), problems)
    return WorkedOut(reduction, None, problems)


def _reduce(resources: Resources, draft: DraftView, bench: Bench) -> "Reduction":
    from server.actions.reduce_log import limits_of, reduce_log

    done = reduce_log(
        original_path(resources.settings.files, draft.file.sha256),
        file_name=draft.file.name,
        bench=bench,
        limits=limits_of(resources.settings),
    )
    return done.reduction


Quick = Annotated[WorkedOut, Depends(_worked_out)]
Whole = Annotated[WorkedOut, Depends(_worked_out_whole)]


@dataclass(frozen=True, slots=True)
class PreparedDraft:
    """All that `submit_run` needs of a draft. `prepared` None: a worker makes the figures."""

    upload: StoredUpload
    prepared: "PreparedRun | None"


async def _prepare_draft(
    request: Request, opened: Opened, tester: Writer
) -> AsyncIterator[PreparedDraft]:
    from server.actions.submit_draft import upload_of_draft

    resources = resources_of(request)
    bench = await in_session(resources, partial(completed, opened=opened, tester=tester))
    upload = upload_of_draft(opened.draft, files=resources.settings.files)
    prepared = None
    if opened.n_lines <= resources.settings.inline_rows:
        work = partial(_prepare, resources, upload, bench)
        prepared = await in_reduction(resources, work)
    yield PreparedDraft(upload, prepared)
    if prepared is not None:  # the session is closed: the run is stored
        resources.recordings.add(prepared)


def _prepare(resources: Resources, upload: StoredUpload, bench: Bench) -> "PreparedRun":
    from server.actions.prepare_run import prepare_run
    from server.actions.reduce_log import limits_of

    return prepare_run(
        upload.path,
        file_name=upload.name,
        bench=bench,
        limits=limits_of(resources.settings),
        sha256=upload.sha256,
    )


Prepared = Annotated[PreparedDraft, Depends(_prepare_draft, scope="function")]


def _session_after(request: Request, _prepared: Prepared, _turn: WriteTurn) -> Iterator[Session]:
    """A write session that begins once the figures are made."""
    with write_session(resources_of(request).engine) as session:
        yield session


AfterPrepared = Annotated[Session, Depends(_session_after, scope="function")]
