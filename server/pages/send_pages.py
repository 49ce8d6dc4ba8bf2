"""The steps of sending a run as pages: file, columns, what was tested, the rig, figures."""

from collections.abc import Mapping, Sequence

from server.errors import Problem
from server.model.views import DraftView
from server.model.words import RunKind
from server.pages.photo_shapes import DraftPhotos
from server.pages.send_asked import Asked
from server.pages.send_fields import (
    APPLIANCE,
    APPLIANCE_MORE,
    N_CLAIMS,
    N_INSTRUMENTS,
    PLATE,
    PLATE_MORE,
    RIG,
    RIG_MORE,
    RUN,
    SPECIMEN,
    Field,
    claim_fields,
    instrument_fields,
    problem_words,
    show_group,
)
from server.pages.send_form import problems_by_field
from server.pages.send_shapes import (
    DraftShown,
    FieldsPage,
    More,
    Pick,
    SendPage,
    SoFar,
    Step,
)
from server.pages.shapes import Head, Option
from server.wording.counts import show_date

_ABOUT_PLATE = (
    "As printed, with units; leave out what is not stated. A plate already on record stands for an "
    "appliance that is picked."
)
_SELDOM = ("appliance.model_number", "appliance.market", "appliance.produced", "plate.duty",
           "plate.frequency", "plate.speed")  # fmt: skip
STEPS = (
    ("file", "File"),
    ("columns", "Columns"),
    ("appliance", "What was tested"),
    ("rig", "Rig and run"),
    ("figures", "Figures and sending"),
)


def head_of(step: str, path: str) -> Head:
    words = dict(STEPS)[step]
    title = "Send a run" if step == "file" else f"Send a run: {words.lower()}"
    return Head(
        title=title,
        description="Send a brake-run log; figures with their uncertainty come at once.",
        path=path,
        is_indexed=step == "file",
    )


def size_words(n_bytes: int) -> str:
    for unit, size in (("GB", 1_000_000_000), ("MB", 1_000_000), ("kB", 1_000)):
        if n_bytes >= size:
            return f"{n_bytes / size:.1f}\u00a0{unit}"
    return f"{n_bytes}\u00a0bytes"


def show_draft(draft: DraftView) -> DraftShown:
    return DraftShown(
        iso=draft.updated_at.isoformat(timespec="seconds"),
        day=show_date(draft.updated_at),
        href=f"/send/{draft.public_id}/columns",
        name=draft.file.name,
        size=size_words(draft.file.n_bytes),
    )


def steps_of(current: str, draft: DraftView | None) -> tuple[Step, ...]:
    """The steps; with a draft each can be gone back to or on to."""
    return tuple(
        Step(
            text=text,
            href=f"/send/{draft.public_id}/{word}"
            if draft is not None and word != "file"
            else None,
            is_current=word == current,
        )
        for word, text in STEPS
    )


def send_page(
    *,
    is_signed_in: bool,
    drafts: Sequence[DraftView],
    max_bytes: int,
    problems: Sequence[str] = (),
) -> SendPage:
    return SendPage(
        head=head_of("file", "/send"),
        steps=steps_of("file", None),
        problems=tuple(problems),
        is_signed_in=is_signed_in,
        limit=size_words(max_bytes),
        drafts=tuple(show_draft(draft) for draft in drafts),
    )


def appliance_step(
    draft: DraftView,
    *,
    form: Mapping[str, str],
    found: Sequence[Option],
    near: Sequence[Option],
    specimens: Sequence[Option],
    so_far: SoFar,
    problems: Sequence[Problem],
    asked: Asked,
    photos: DraftPhotos,
) -> FieldsPage:
    wrong = {**asked.by_field, **problems_by_field(form, tuple(problems))}
    path = f"/send/{draft.public_id}/appliance"
    return FieldsPage(
        head=head_of("appliance", path),
        steps=steps_of("appliance", draft),
        asked=asked.lines("appliance", "plate", "claim", "specimen"),
        title="Send a run: what was tested",
        lead="The make and model as sold, what is printed on it, and the piece on the bench.",
        problems=tuple(problem_words(p) for p in problems),
        href=path,
        discard_href=f"/send/{draft.public_id}/discard",
        picks=_appliance_picks(form, found, near, specimens, wrong),
        groups=(show_group("What is printed", claim_fields(1), form, wrong),),
        more=_more_of_appliance(form, wrong, has_pieces=bool(specimens)),
        next_text="On to the rig",
        so_far=so_far,
        photos=photos,
    )


def _appliance_picks(
    form: Mapping[str, str],
    found: Sequence[Option],
    near: Sequence[Option],
    specimens: Sequence[Option],
    wrong: Mapping[str, str],
) -> tuple[Pick, ...]:
    picked = form.get("pick.appliance", "")
    described = (
        show_group("A new one", APPLIANCE, form, wrong, "Used where none is picked above."),
        show_group("Its rating plate", PLATE, form, wrong, _ABOUT_PLATE),
    )
    appliance = Pick(
        "Appliance",
        "pick.appliance",
        _with_new([*found, *near], picked, "a new one, described below"),
        described,
        find_name="find",
        find=form.get("find", ""),
        near=() if picked else tuple(option.text for option in near),
    )
    piece = Pick(
        "The piece tested",
        "pick.specimen",
        _with_new(specimens, form.get("pick.specimen", ""), "another piece"),
        (),
    )
    return (appliance, piece) if specimens else (appliance,)


def _more_of_appliance(
    form: Mapping[str, str], wrong: Mapping[str, str], *, has_pieces: bool
) -> tuple[More, ...]:
    piece = show_group("Another piece" if has_pieces else "The piece", SPECIMEN, form, wrong)
    model = show_group("The model", APPLIANCE_MORE, form, wrong)
    plate = show_group("The plate", PLATE_MORE, form, wrong)
    claims = tuple(
        show_group(f"Printed too ({n})", claim_fields(n), form, wrong)
        for n in range(2, N_CLAIMS + 1)
    )
    return (
        More("The piece on the bench", (piece,), _is_filled(form, "specimen")),
        More("More of the model and its plate", (model, plate), _is_filled(form, *_SELDOM), True),
        More("More printed figures", claims, _is_filled(form, "claim.2", "claim.3")),
    )


def _run_fields(form: Mapping[str, str]) -> tuple[Field, ...]:
    """What a run says of itself; an added inertia where falls are timed, or one is typed."""
    is_run_down = form.get("run.kind") == RunKind.RUN_DOWN.value
    return tuple(
        field
        for field in RUN
        if field.name != "run.added_inertia" or is_run_down or _is_filled(form, field.name)
    )


def rig_step(
    draft: DraftView,
    *,
    form: Mapping[str, str],
    rigs: Sequence[Option],
    so_far: SoFar,
    problems: Sequence[Problem],
    asked: Asked,
    photos: DraftPhotos,
) -> FieldsPage:
    wrong = {**asked.by_field, **problems_by_field(form, tuple(problems))}
    instruments = tuple(
        show_group(f"Instrument {n}", instrument_fields(n), form, wrong)
        for n in range(1, N_INSTRUMENTS + 1)
    )
    path = f"/send/{draft.public_id}/rig"
    return FieldsPage(
        head=head_of("rig", path),
        steps=steps_of("rig", draft),
        asked=asked.lines("rig", "instrument", "run"),
        title="Send a run: rig and run",
        lead="What held the brake and read the instruments. Accuracies become uncertainty.",
        problems=tuple(problem_words(p) for p in problems),
        href=path,
        discard_href=f"/send/{draft.public_id}/discard",
        picks=(
            Pick(
                "Rig",
                "pick.rig",
                _with_new(rigs, form.get("pick.rig", ""), "a new rig, described below"),
                (
                    show_group(
                        "A new rig", RIG, form, wrong, "Used where none is picked. With units."
                    ),
                ),
                copy_text="Copy the picked rig and change it" if rigs else None,
            ),
        ),
        groups=(show_group("This run", _run_fields(form), form, wrong),),
        more=(
            More(
                "More of a new rig: inertia, leads, meter, drag",
                (show_group("More of the rig", RIG_MORE, form, wrong),),
                any(_is_filled(form, field.name) for field in RIG_MORE),
                is_of_new=True,
            ),
            More(
                "Instruments of a new rig and their accuracy",
                instruments,
                _is_filled(form, "instrument"),
                is_of_new=True,
            ),
        ),
        next_text="On to the figures",
        so_far=so_far,
        photos=photos,
    )


def _with_new(found: Sequence[Option], chosen: str, words: str) -> tuple[Option, ...]:
    known = {option.value for option in found}
    return (
        *(Option(o.value, o.text, o.value == chosen) for o in found),
        Option("", words, chosen not in known),
    )


def _is_filled(form: Mapping[str, str], *starts: str) -> bool:
    return any(value.strip() and name.startswith(starts) for name, value in form.items())
