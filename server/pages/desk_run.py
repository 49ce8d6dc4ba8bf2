"""A run on the desk: why it is here, its figures beside similar ones, its tester, the acts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from server.model.moderation import RunCase
from server.model.similar import SimilarFigure
from server.model.words import RunState
from server.pages.desk_parts import (
    RevisionsShown,
    SimilarRow,
    show_record,
    show_revisions,
    show_similar,
    similar_basis_words,
)
from server.pages.remark_fields import OptionGroup, RemarkShown, remark_options, show_remarks
from server.pages.rows import show_changes, show_findings, show_plate
from server.pages.run_details import file_values, method_values, rig_values, specimen_values
from server.pages.shapes import ChangeShown, FindingShown, Head, Link, Value
from server.store.run_revisions import RunRevision
from server.wording.counts import count_of, show_date, show_moment
from server.wording.desk import concern_word
from server.wording.labels import kind_word, source_word, state_word

N_REMARKS = 6


@dataclass(frozen=True, slots=True)
class RemarkField:
    """One line of a return: the field and what to correct, as typed."""

    number: int
    groups: tuple[OptionGroup, ...]
    text: str


@dataclass(frozen=True, slots=True)
class ConcernLink:
    word: str
    text: str
    href: str


@dataclass(frozen=True, slots=True)
class Acts:
    """What makes sense now; each with its button's words."""

    publish: str | None
    publish_reason: bool
    can_return: bool
    can_withdraw: bool
    can_look: bool
    can_retry: bool
    take: str | None
    can_give_back: bool


@dataclass(frozen=True, slots=True)
class CasePage:
    head: Head
    title: str
    run: Link
    appliance: Link
    basis: str
    standing: str
    why: tuple[str, ...]
    done: str | None
    notice: str | None
    barred: str | None
    holder: str | None
    problems: tuple[str, ...]
    version: int
    acts: Acts
    reason: str
    remarks: tuple[RemarkField, ...]
    findings: tuple[FindingShown, ...]
    similar: tuple[SimilarRow, ...]
    similar_basis: str
    record: tuple[Value, ...]
    record_href: str
    earlier: tuple[RemarkShown, ...]
    revisions: RevisionsShown | None
    concerns: tuple[ConcernLink, ...]
    about: tuple[Value, ...]
    specimen: tuple[Value, ...]
    plate: tuple[Value, ...]
    plate_note: str | None
    plate_href: str
    rig: tuple[Value, ...]
    file: tuple[Value, ...]
    changes: tuple[ChangeShown, ...]
    skip_href: str


@dataclass(frozen=True, slots=True)
class Typed:
    """What came of a decision that was not taken: why, and what was typed, so nothing is lost."""

    notice: str | None = None
    problems: tuple[str, ...] = ()
    form: Mapping[str, str] = field(default_factory=dict)


def case_page(
    case: RunCase,
    *,
    similar: Sequence[SimilarFigure] = (),
    revisions: Sequence[RunRevision] = (),
    done: str | None = None,
    typed: Typed | None = None,
) -> CasePage:
    typed = typed or Typed()
    view = case.view
    content = view.appliance.content
    name = f"{content.maker} {content.model}"
    path = f"/desk/runs/{view.public_id}"
    title = f"{kind_word(view.details.kind)} run, {show_date(view.details.tested_on)}"
    appliance = f"/appliances/{view.appliance.public_id}"
    return CasePage(
        head=Head(
            title=f"Desk: {name}",
            description=title,
            path=path,
            section="desk",
            json_path=f"/api/v1/runs/{view.public_id}/case",
            is_indexed=False,
        ),
        title=f"{name}: {title[:1].lower()}{title[1:]}",
        run=Link("Its page", f"/runs/{view.public_id}"),
        appliance=Link(name, f"{appliance}-{view.appliance.slug}"),
        basis=_basis(case),
        standing=_standing(case),
        why=_why(case),
        done=done,
        notice=typed.notice,
        barred=case.barred,
        holder=_holder(case),
        problems=typed.problems,
        version=case.version,
        acts=_acts(case),
        reason=typed.form.get("reason", ""),
        remarks=_remark_fields(case, typed),
        findings=show_findings(view.reduction.findings) if view.reduction is not None else (),
        similar=tuple(show_similar(one, view.public_id) for one in similar),
        similar_basis=similar_basis_words(similar),
        record=show_record(case.record),
        record_href=f"/desk/testers/{case.record.tester_id}",
        earlier=show_remarks(case.remarks, view),
        revisions=show_revisions(revisions),
        concerns=_concerns(case),
        about=method_values(view),
        specimen=specimen_values(view),
        plate=show_plate(view.plate),
        plate_note=_plate_note(case),
        plate_href=f"/desk/appliances/{view.appliance.public_id}/plate",
        rig=rig_values(view),
        file=file_values(view),
        changes=show_changes(view.journal),
        skip_href=f"/desk/next?skip={view.public_id}",
    )


def _concerns(case: RunCase) -> tuple[ConcernLink, ...]:
    return tuple(
        ConcernLink(concern_word(c.kind), c.text or "", f"/desk/concerns/{c.public_id}")
        for c in case.concerns
    )


def _basis(case: RunCase) -> str:
    view = case.view
    return " · ".join(
        (
            f"by {view.tester}",
            source_word(view.details.source),
            count_of(view.n_rows, "reading"),
            f"sent {show_moment(view.created_at)}",
        )
    )


def _standing(case: RunCase) -> str:
    word = state_word(case.state)
    if case.accepted_at is not None and case.state is RunState.WAITING:
        return f"Accepted; it is published on {show_date(case.not_before)}."
    if case.state is RunState.PUBLISHED and case.needs_look:
        return "Published by rule; drawn to be looked at afterwards."
    if case.state is RunState.FAILED:
        return f"Not worked out: {case.view.failure or 'no reason was kept'}"
    decided = case.decided
    if case.state not in {RunState.WAITING, RunState.WORKING} and decided is not None:
        return f"{word[:1].upper()}{word[1:]}, by {decided.by}, {show_moment(decided.at)}."
    return f"{word[:1].upper()}{word[1:]}."


def _why(case: RunCase) -> tuple[str, ...]:
    if case.state is not RunState.WAITING:
        return ()
    found = []
    if case.is_held:
        n = sum(f.severity == "error" for f in case.view.reduction.findings)  # type: ignore[union-attr]
        found.append("One finding holds it back." if n == 1 else f"{n} findings hold it back.")
    if case.is_first:
        found.append("It is the first run of its appliance: always looked at.")
    if not case.record.is_in_standing:
        found.append("Its tester is not in good standing yet.")
    if case.not_before is not None:
        found.append(f"Not to be shown before {show_date(case.not_before)}.")
    return tuple(found)


def _holder(case: RunCase) -> str | None:
    held = case.assigned
    if held is None:
        return None
    until = f"{held.until:%H:%M} UTC"
    return f"Taken by you until {until}." if held.is_own else f"{held.name} has it until {until}."


def _acts(case: RunCase) -> Acts:
    state, may = case.state, case.barred is None
    is_mine = case.assigned is not None and case.assigned.is_own
    is_free = case.assigned is None or is_mine
    waits = may and is_free and state is RunState.WAITING
    has_date = case.not_before is not None and case.accepted_at is None
    word = f"Publish on {show_date(case.not_before)}" if has_date else "Publish"
    is_open = state in {RunState.WAITING, RunState.PUBLISHED, RunState.WORKING}
    take = None
    if may and (is_open or state in {RunState.RETURNED, RunState.FAILED}) and not is_mine:
        take = "Take it for 30 minutes" if is_free else "Take it over"
    return Acts(
        publish=word if waits and case.accepted_at is None else None,
        publish_reason=case.is_held,
        can_return=waits,
        can_withdraw=may and is_free and state is not RunState.WITHDRAWN,
        can_look=may and is_free and case.needs_look and state is RunState.PUBLISHED,
        can_retry=may and is_free and state is RunState.FAILED,
        take=take,
        can_give_back=is_mine,
    )


def _remark_fields(case: RunCase, typed: Typed) -> tuple[RemarkField, ...]:
    return tuple(
        RemarkField(
            number=n,
            groups=remark_options(case.view, chosen=typed.form.get(f"field-{n}", "")),
            text=typed.form.get(f"text-{n}", ""),
        )
        for n in range(1, N_REMARKS + 1)
    )


def _plate_note(case: RunCase) -> str | None:
    if case.plate_number == case.current_plate_number:
        return None
    return (
        f"Made with revision {case.plate_number} of the plate; revision "
        f"{case.current_plate_number} is the current one."
    )
