"""Merging appliances, correcting plates, makers' mail domains."""

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from server.actions.correct_plate import correct_plate, runs_with_other_plate
from server.actions.merge_appliances import MergePreview, merge_appliances, preview_merge
from server.actions.speak_for_maker import remove_maker_domain, set_maker_domain
from server.dependencies import Maintainer, ReadSession, WriteSession
from server.dependencies.posted import CheckedForm
from server.errors import Conflict, InvalidInput, NotFound, UnusableBench
from server.intake import bench_from_mapping
from server.model.views import ApplianceView, Tester
from server.pages.desk_parts import problem_texts
from server.pages.request import site_of
from server.pages.send_fields import PLATE, FieldGroup, problem_words, show_group
from server.pages.shapes import Head, Link, Option, Value
from server.pages.templating import render
from server.store.appliances import appliance_view
from server.store.statements import MakerDomain, maker_domains, maker_names
from server.store.subjects import appliance_choices
from server.wording.counts import count_of

router = APIRouter()


@dataclass(frozen=True, slots=True)
class MergePage:
    head: Head
    source: str
    target: str
    choices: tuple[Option, ...]
    into: tuple[Option, ...]
    moves: tuple[Value, ...]
    source_link: Link | None
    target_link: Link | None
    stamp: str
    problems: tuple[str, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class PlatePage:
    head: Head
    appliance: Link
    number: int
    group: FieldGroup
    problems: tuple[str, ...]
    reason: str
    rests: str | None


@dataclass(frozen=True, slots=True)
class MakersPage:
    head: Head
    domains: tuple[MakerDomain, ...]
    makers: tuple[Option, ...]
    problems: tuple[str, ...]


@router.get("/desk/merge")
def merge_form(request: Request, session: ReadSession, maintainer: Maintainer) -> Response:
    return _merge_shown(request, session, maintainer, dict(request.query_params))


@router.post("/desk/merge")
def merge(
    request: Request, session: WriteSession, maintainer: Maintainer, form: CheckedForm
) -> Response:
    if not form.text("from") or not form.text("into"):
        told = ("Name the two first, and look at what would move.",)
        return _merge_shown(request, session, maintainer, form, problems=told, status=422)
    try:
        with session.begin_nested():
            merge_appliances(
                session,
                source_id=form.text("from"),
                target_id=form.text("into"),
                stamp=form.text("stamp"),
                reason=form.text("reason"),
                maintainer=maintainer,
            )
    except InvalidInput as refusal:
        found = problem_texts(refusal)
        return _merge_shown(request, session, maintainer, form, problems=found, status=422)
    except Conflict as refusal:
        found = (str(refusal),)
        return _merge_shown(request, session, maintainer, form, problems=found, status=409)
    return RedirectResponse(f"/appliances/{form.text('into')}", status_code=303)


def _merge_shown(
    request: Request,
    session: Session,
    maintainer: Tester,
    query: Mapping[str, str],
    *,
    problems: tuple[str, ...] = (),
    status: int = 200,
) -> Response:
    source, target = query.get("from", ""), query.get("into", "")
    preview = None
    if source and target and status != 409:
        try:
            preview = preview_merge(
                session, source_id=source, target_id=target, maintainer=maintainer
            )
        except InvalidInput as refusal:
            problems = problems or problem_texts(refusal)
        except Conflict as refusal:
            problems = problems or (str(refusal),)
    choices = appliance_choices(session)
    page = merge_page(choices, source, target, preview, problems, query.get("reason", ""))
    site = site_of(request, maintainer)
    return render(request, "desk_merge.html", page, status=status, site=site)


def merge_page(
    choices: tuple[tuple[str, str], ...],
    source: str,
    target: str,
    preview: MergePreview | None,
    problems: tuple[str, ...],
    reason: str,
) -> MergePage:
    names = dict(choices)
    return MergePage(
        head=_head("Merge appliances", "/desk/merge"),
        source=source,
        target=target,
        choices=tuple(Option(own, name, own == source) for own, name in choices),
        into=tuple(Option(own, name, own == target) for own, name in choices),
        moves=_moves(preview) if preview is not None else (),
        source_link=Link(names.get(source, source), f"/appliances/{source}") if preview else None,
        target_link=Link(names.get(target, target), f"/appliances/{target}") if preview else None,
        stamp=preview.stamp if preview is not None else "",
        problems=problems,
        reason=reason,
    )


def _moves(preview: MergePreview) -> tuple[Value, ...]:
    kept = len(preview.same_claims)
    return (
        Value("Runs", count_of(len(preview.runs), "run")),
        Value("Specimens", count_of(len(preview.specimens), "specimen")),
        Value(
            "Claims",
            count_of(len(preview.claims), "claim"),
            note=f"{count_of(kept, 'claim')} stand there already" if kept else None,
        ),
        Value("Plate revisions", count_of(len(preview.plates), "revision")),
        Value("Reports", count_of(preview.n_concerns, "report")),
    )


@router.get("/desk/appliances/{appliance_id}/plate")
def plate_form(
    request: Request, appliance_id: str, session: ReadSession, maintainer: Maintainer
) -> Response:
    view = appliance_view(session, public_id=appliance_id, viewer=maintainer)
    return _plate_shown(request, session, view, maintainer, _typed_plate(view))


@router.post("/desk/appliances/{appliance_id}/plate")
def plate(
    request: Request,
    appliance_id: str,
    session: WriteSession,
    maintainer: Maintainer,
    form: CheckedForm,
) -> Response:
    view = appliance_view(session, public_id=appliance_id, viewer=maintainer)
    told = {f.name.removeprefix("plate."): form.text(f.name) for f in PLATE if form.text(f.name)}
    try:
        bench = bench_from_mapping({"plate": told}, name="the plate")
        with session.begin_nested():
            correct_plate(
                session,
                appliance_id=appliance_id,
                plate=bench.plate,
                number=form.number("number"),
                reason=form.text("reason"),
                maintainer=maintainer,
            )
    except UnusableBench as refusal:
        found = tuple(problem_words(one) for one in refusal.problems)
        return _plate_shown(request, session, view, maintainer, form, found, status=422)
    except InvalidInput as refusal:
        found = problem_texts(refusal)
        return _plate_shown(request, session, view, maintainer, form, found, status=422)
    except Conflict as refusal:
        found = (str(refusal),)
        return _plate_shown(request, session, view, maintainer, form, found, status=409)
    return RedirectResponse(f"/appliances/{appliance_id}", status_code=303)


def _typed_plate(view: ApplianceView) -> dict[str, str]:
    """The plate as it was typed, by the form's names."""
    stored = {
        "plate.voltage": "voltage_v",
        "plate.frequency": "frequency_hz",
        "plate.current": "current_a",
        "plate.power": "power_w",
        "plate.speed": "speed_rad_s",
        "plate.circuit": "circuit_a",
    }
    units = {"voltage_v": "V", "frequency_hz": "Hz", "current_a": "A", "power_w": "W",
             "speed_rad_s": "rad/s", "circuit_a": "A"}  # fmt: skip
    found = {"plate.motor_family": view.plate.motor_family.value}
    for name, field in stored.items():
        value = getattr(view.plate, field)
        if value is not None:
            found[name] = str(view.plate.typed.get(field) or f"{value:g} {units[field]}")
    if view.plate.supply is not None:
        found["plate.supply"] = view.plate.supply.value
    if view.plate.duty:
        found["plate.duty"] = view.plate.duty
    return found


def _plate_shown(
    request: Request,
    session: Session,
    view: ApplianceView,
    maintainer: Tester,
    form: Mapping[str, str],
    problems: tuple[str, ...] = (),
    *,
    status: int = 200,
) -> Response:
    content = view.appliance.content
    own = view.appliance.public_id
    n = len(runs_with_other_plate(session, appliance_id=own))
    rests = f"{count_of(n, 'run')} rest on a plate that reads otherwise." if n else None
    page = PlatePage(
        head=_head("Correct the plate", f"/desk/appliances/{own}/plate"),
        appliance=Link(f"{content.maker} {content.model}", f"/appliances/{own}"),
        number=view.plate_revision,
        group=show_group("Rating plate", PLATE, form, {}),
        problems=problems,
        reason=form.get("reason", ""),
        rests=rests,
    )
    site = site_of(request, maintainer)
    return render(request, "desk_plate.html", page, status=status, site=site)


@router.get("/desk/makers")
def makers(request: Request, session: ReadSession, maintainer: Maintainer) -> Response:
    return _makers_shown(request, session, maintainer)


@router.post("/desk/makers")
def set_domain(
    request: Request, session: WriteSession, maintainer: Maintainer, form: CheckedForm
) -> Response:
    act = remove_maker_domain if form.get("act") == "remove" else set_maker_domain
    try:
        with session.begin_nested():
            maker, domain = form.text("maker"), form.text("domain")
            act(session, maker=maker, domain=domain, maintainer=maintainer)
    except InvalidInput as refusal:
        return _makers_shown(request, session, maintainer, problem_texts(refusal), status=422)
    except (Conflict, NotFound) as refusal:
        return _makers_shown(request, session, maintainer, (str(refusal),), status=409)
    return RedirectResponse("/desk/makers", status_code=303)


def _makers_shown(
    request: Request,
    session: Session,
    maintainer: Tester,
    problems: tuple[str, ...] = (),
    *,
    status: int = 200,
) -> Response:
    page = MakersPage(
        head=_head("Makers’ mail domains", "/desk/makers"),
        domains=maker_domains(session),
        makers=tuple(Option(name, name) for name in maker_names(session)),
        problems=problems,
    )
    site = site_of(request, maintainer)
    return render(request, "desk_makers.html", page, status=status, site=site)


def _head(title: str, path: str) -> Head:
    return Head(
        title=f"Desk: {title}", description=title, path=path, section="desk", is_indexed=False
    )
