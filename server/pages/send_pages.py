"""The steps of sending a run as pages: file, columns, what was tested, the rig, figures."""

from collections.abc import Mapping, Sequence

from server.errors import Problem
from server.model.recording import Column, LogPreview
from server.model.views import DraftView
from server.model.words import Channel
from server.pages.run_details import dialect_words
from server.pages.send_fields import (
    APPLIANCE,
    KIND,
    N_CLAIMS,
    N_INSTRUMENTS,
    PLATE,
    RIG,
    RUN,
    SPECIMEN,
    claim_fields,
    instrument_fields,
    problem_words,
    show_field,
    show_group,
)
from server.pages.send_form import problems_by_field
from server.pages.send_shapes import (
    ColumnShown,
    ColumnsPage,
    DraftShown,
    FieldsPage,
    More,
    Pick,
    PreviewRow,
    SendPage,
    SoFar,
    Step,
)
from server.pages.shapes import Head, Option
from server.wording.counts import show_date
from server.wording.labels import channel_word

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


def columns_page(
    draft: DraftView,
    *,
    preview: LogPreview,
    form: Mapping[str, str],
    so_far: SoFar,
    problems: Sequence[Problem],
) -> ColumnsPage:
    path = f"/send/{draft.public_id}/columns"
    rows = [
        PreviewRow(f"Row {number}", _fill(cells, len(preview.columns)))
        for number, cells in enumerate(preview.rows, start=1)
    ]
    return ColumnsPage(
        head=head_of("columns", path),
        steps=steps_of("columns", draft),
        problems=(*(problem_words(p) for p in problems), *preview.problems),
        file_line=", ".join(
            (draft.file.name, size_words(draft.file.n_bytes), dialect_words(preview.dialect))
        ),
        href=path,
        discard_href=f"/send/{draft.public_id}/discard",
        preamble=preview.preamble,
        kind=show_field(KIND, form, {}),
        columns=tuple(_column(column, form) for column in preview.columns),
        rows=tuple(rows),
        so_far=so_far,
    )


def _fill(cells: Sequence[str], n_columns: int) -> tuple[str, ...]:
    return (*cells[:n_columns], *([""] * (n_columns - len(cells))))


def _column(column: Column, form: Mapping[str, str]) -> ColumnShown:
    start = f"column.{column.position}"
    guessed = column.channel.value if column.channel is not None else ""
    chosen = form.get(f"{start}.channel", guessed)
    choices = (("", "kept under its own name"), *((c.value, channel_word(c)) for c in Channel))
    return ColumnShown(
        position=column.position,
        header=column.header or f"column {column.position + 1}",
        options=tuple(Option(word, text, word == chosen) for word, text in choices),
        unit=form.get(f"{start}.unit", column.unit or ""),
        reason=column.reason,
    )


def appliance_step(
    draft: DraftView,
    *,
    form: Mapping[str, str],
    found: Sequence[Option],
    specimens: Sequence[Option],
    so_far: SoFar,
    problems: Sequence[Problem],
) -> FieldsPage:
    wrong = problems_by_field(form, tuple(problems))
    described = (
        show_group("A new one", APPLIANCE, form, wrong, "Used where none is picked above."),
        show_group(
            "Its rating plate",
            PLATE,
            form,
            wrong,
            "As printed, with units; leave out what is not stated. A plate already on record "
            "stands for an appliance that is picked.",
        ),
    )
    claims = tuple(
        show_group(
            "What is printed" if n == 1 else f"Printed too ({n})", claim_fields(n), form, wrong
        )
        for n in range(1, N_CLAIMS + 1)
    )
    path = f"/send/{draft.public_id}/appliance"
    return FieldsPage(
        head=head_of("appliance", path),
        steps=steps_of("appliance", draft),
        title="Send a run: what was tested",
        lead="The make and model as sold, what is printed on it, and the piece on the bench.",
        problems=tuple(problem_words(p) for p in problems),
        href=path,
        discard_href=f"/send/{draft.public_id}/discard",
        picks=(
            Pick(
                "Appliance",
                "pick.appliance",
                _with_new(found, form.get("pick.appliance", ""), "a new one, described below"),
                described,
                find_name="find",
                find=form.get("find", ""),
            ),
            Pick(
                "The piece tested",
                "pick.specimen",
                _with_new(specimens, form.get("pick.specimen", ""), "another piece"),
                (show_group("Another piece", SPECIMEN, form, wrong),),
            ),
        ),
        groups=claims[:1],
        more=(More("More printed figures", claims[1:], _is_filled(form, "claim.2", "claim.3")),),
        next_text="On to the rig",
        so_far=so_far,
    )


def rig_step(
    draft: DraftView,
    *,
    form: Mapping[str, str],
    rigs: Sequence[Option],
    so_far: SoFar,
    problems: Sequence[Problem],
) -> FieldsPage:
    wrong = problems_by_field(form, tuple(problems))
    instruments = tuple(
        show_group(f"Instrument {n}", instrument_fields(n), form, wrong)
        for n in range(1, N_INSTRUMENTS + 1)
    )
    path = f"/send/{draft.public_id}/rig"
    return FieldsPage(
        head=head_of("rig", path),
        steps=steps_of("rig", draft),
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
            ),
        ),
        groups=(show_group("This run", RUN, form, wrong),),
        more=(
            More(
                "Instruments of a new rig and their accuracy",
                instruments,
                _is_filled(form, "instrument"),
            ),
        ),
        next_text="On to the figures",
        so_far=so_far,
    )


def _with_new(found: Sequence[Option], chosen: str, words: str) -> tuple[Option, ...]:
    known = {option.value for option in found}
    return (
        *(Option(o.value, o.text, o.value == chosen) for o in found),
        Option("", words, chosen not in known),
    )


def _is_filled(form: Mapping[str, str], *starts: str) -> bool:
    return any(value.strip() and name.startswith(starts) for name, value in form.items())
