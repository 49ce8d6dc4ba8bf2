"""The column check: the file's head, what each column was taken for, and a small line of each."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from server.charts.spark import spark_svg
from server.errors import Problem
from server.model.recording import Column, LogPreview
from server.model.views import DraftView
from server.model.words import Channel
from server.pages.run_details import dialect_words
from server.pages.send_asked import Asked
from server.pages.send_fields import KIND, SHEET, FieldShown, problem_words, show_field
from server.pages.send_pages import head_of, size_words, steps_of
from server.pages.send_shapes import ColumnShown, ColumnsPage, PreviewRow, SoFar
from server.pages.shapes import Option
from server.wording.labels import channel_word


def columns_page(
    draft: DraftView,
    *,
    preview: LogPreview,
    form: Mapping[str, str],
    so_far: SoFar,
    problems: Sequence[Problem],
    asked: Asked,
) -> ColumnsPage:
    path = f"/send/{draft.public_id}/columns"
    rows = [
        PreviewRow(f"Row {number}", _fill(cells, len(preview.columns)))
        for number, cells in zip(preview.rows_at, preview.rows, strict=False)
    ]
    return ColumnsPage(
        head=head_of("columns", path),
        steps=steps_of("columns", draft),
        asked=asked.lines("columns", "file"),
        # Reading the file whole finds what its head has shown already.
        problems=tuple(dict.fromkeys((*map(problem_words, problems), *preview.problems))),
        file_line=", ".join(
            (draft.file.name, size_words(draft.file.n_bytes), dialect_words(preview.dialect))
        ),
        href=path,
        discard_href=f"/send/{draft.public_id}/discard",
        preamble=preview.preamble,
        sheet=_sheet(preview),
        kind=show_field(KIND, form, dict(asked.by_field)),
        columns=tuple(
            _column(column, form, _strip(preview, index))
            for index, column in enumerate(preview.columns)
        ),
        rows=tuple(rows),
        so_far=so_far,
    )


def _sheet(preview: LogPreview) -> FieldShown | None:
    """Which sheet of a workbook is read, where there are several."""
    names = preview.dialect.get("sheets")
    chosen = str(preview.dialect.get("sheet"))
    if not isinstance(names, list) or len(names) < 2:
        return None
    known = tuple((str(name), str(name)) for name in names)
    return show_field(replace(SHEET, choices=known), {SHEET.name: chosen}, {})


def _fill(cells: Sequence[str], n_columns: int) -> tuple[str, ...]:
    return (*cells[:n_columns], *([""] * (n_columns - len(cells))))


def _strip(preview: LogPreview, index: int) -> str | None:
    """The column's first figures as a small line; None for a column of words."""
    if index >= len(preview.strips):
        return None
    header = preview.columns[index].header or f"column {index + 1}"
    return spark_svg(preview.strips[index], name=header)


def _column(column: Column, form: Mapping[str, str], strip: str | None) -> ColumnShown:
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
        strip=strip,
    )
