"""What a sender can pick instead of describing it: appliances, pieces of them, rigs."""

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.views import CatalogueFilter, Tester
from server.pages.shapes import Option
from server.store.catalogue import list_catalogue
from server.store.near import near_appliances
from server.store.rigs import list_rigs
from server.store.runs import list_runs
from server.store.specimens import list_specimens

_N_FOUND = 12
_N_LATELY = 5


@dataclass(frozen=True, slots=True)
class ApplianceOptions:
    """`found` by the search, or tested lately; `near`: spelled much like the new one described."""

    found: tuple[Option, ...]
    near: tuple[Option, ...]


def appliance_options(
    session: Session, *, form: Mapping[str, str], tester: Tester
) -> ApplianceOptions:
    text = form.get("find", "").strip()
    picked = form.get("pick.appliance", "")
    if text:
        wanted = CatalogueFilter(text=text, limit=_N_FOUND)
        rows = list_catalogue(session, filters=wanted).items
        found = [Option(r.public_id, f"{r.maker} {r.model}, {r.category}") for r in rows]
    else:
        found = _lately(session, tester=tester)
    near = [
        Option(one.public_id, f"{one.maker} {one.model}, {one.category}")
        for one in near_appliances(
            session,
            maker=form.get("appliance.maker", ""),
            model=form.get("appliance.model", ""),
        )
        if not one.is_same  # it is found by its name
    ]
    known = {option.value for option in (*found, *near)}
    if picked and picked not in known:
        found.insert(0, Option(picked, _picked_name(session, picked)))
    listed = {option.value for option in found}
    return ApplianceOptions(tuple(found), tuple(o for o in near if o.value not in listed))


def _lately(session: Session, *, tester: Tester) -> list[Option]:
    """What this tester sent runs of, the newest first."""
    runs = list_runs(session, viewer=tester, tester_id=tester.public_id, limit=50).items
    named = {run.appliance_id: run.appliance_name for run in reversed(runs)}
    newest = list(reversed(named.items()))[:_N_LATELY]
    return [Option(public_id, f"{name}, tested by you before") for public_id, name in newest]


def _picked_name(session: Session, public_id: str) -> str:
    from server.store.compare import compare_views

    try:
        (view,) = compare_views(session, public_ids=[public_id], viewer=None)
    except NotFound:
        return f"{public_id}, which is not in the catalogue any more"
    return f"{view.appliance.content.maker} {view.appliance.content.model}"


def specimen_options(session: Session, *, picked: str | None, tester: Tester) -> tuple[Option, ...]:
    if picked is None:
        return ()
    pieces = list_specimens(session, appliance_id=picked, tester=tester)
    return tuple(Option(s.public_id, s.content.label or f"piece {s.public_id}") for s in pieces)


def rig_options(session: Session, *, tester: Tester) -> tuple[Option, ...]:
    return tuple(
        Option(r.public_id, f"{r.content.name or f'rig {r.public_id}'}, revision {r.revision}")
        for r in list_rigs(session, tester=tester)
    )
