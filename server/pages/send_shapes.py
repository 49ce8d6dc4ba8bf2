"""The shapes of the steps of sending a run: one context for each template."""

from dataclasses import dataclass

from server.pages.photo_shapes import DraftPhotos
from server.pages.send_fields import FieldGroup, FieldShown
from server.pages.shapes import FigureShown, FindingShown, Head, Option, Value


@dataclass(frozen=True, slots=True)
class DraftShown:
    iso: str
    day: str
    href: str
    name: str
    size: str


@dataclass(frozen=True, slots=True)
class Step:
    text: str
    href: str | None
    is_current: bool


@dataclass(frozen=True, slots=True)
class SoFar:
    """The figures that the draft gives as it stands."""

    note: str | None
    figures: tuple[Value, ...] = ()
    findings: tuple[FindingShown, ...] = ()


@dataclass(frozen=True, slots=True)
class SendPage:
    head: Head
    steps: tuple[Step, ...]
    problems: tuple[str, ...]
    is_signed_in: bool
    limit: str
    drafts: tuple[DraftShown, ...]


@dataclass(frozen=True, slots=True)
class ColumnShown:
    position: int
    header: str
    options: tuple[Option, ...]
    unit: str
    reason: str
    strip: str | None


@dataclass(frozen=True, slots=True)
class PreviewRow:
    label: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ColumnsPage:
    head: Head
    steps: tuple[Step, ...]
    asked: tuple[str, ...]
    problems: tuple[str, ...]
    file_line: str
    href: str
    discard_href: str
    preamble: tuple[str, ...]
    sheet: FieldShown | None
    kind: FieldShown
    columns: tuple[ColumnShown, ...]
    rows: tuple[PreviewRow, ...]
    so_far: SoFar


@dataclass(frozen=True, slots=True)
class Pick:
    """Something picked from what is stored, or made new with the groups below it.

    `near`: stored ones that are spelled much like the new one. `copy_text`: the button that takes
    the picked one's description over into the groups.
    """

    title: str
    name: str
    options: tuple[Option, ...]
    groups: tuple[FieldGroup, ...]
    find_name: str | None = None
    find: str = ""
    near: tuple[str, ...] = ()
    copy_text: str | None = None


@dataclass(frozen=True, slots=True)
class More:
    """Groups that most senders leave alone, folded away until something stands in them.

    `is_of_new`: they describe a new thing, and mean nothing where a known one is picked.
    """

    title: str
    groups: tuple[FieldGroup, ...]
    is_open: bool
    is_of_new: bool = False


@dataclass(frozen=True, slots=True)
class FieldsPage:
    head: Head
    steps: tuple[Step, ...]
    asked: tuple[str, ...]
    title: str
    lead: str
    problems: tuple[str, ...]
    href: str
    discard_href: str
    picks: tuple[Pick, ...]
    groups: tuple[FieldGroup, ...]
    more: tuple[More, ...]
    next_text: str
    so_far: SoFar
    photos: DraftPhotos


@dataclass(frozen=True, slots=True)
class FiguresPage:
    head: Head
    steps: tuple[Step, ...]
    asked: tuple[str, ...]
    lead: str
    problems: tuple[str, ...]
    heads: tuple[Value, ...]
    findings: tuple[FindingShown, ...]
    load: tuple[FigureShown, ...]
    trace: FigureShown | None
    figures: tuple[Value, ...]
    what_happens: str
    can_send: bool
    is_visitor: bool
    corrects_href: str | None
    asks_consent: bool
    not_before_min: str
    sign_up_href: str
    sign_in_href: str
    send_text: str
    send_href: str
    discard_href: str
    others: tuple[DraftShown, ...]
