"""The journal's signed heads: the newest to keep elsewhere, how to check it, the earlier ones."""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, Response

from server.dependencies import ReadSession, Viewer
from server.errors import NotFound
from server.model.checking import SignedHead
from server.pages.request import site_of
from server.pages.shapes import Head
from server.pages.templating import render
from server.settings import Settings
from server.store.heads import list_heads
from server.wording.counts import show_moment
from server.wording.numbers import grouped

router = APIRouter()
_NOT_YET = "No head has been signed yet. The worker signs one within a day of the first entry."


@dataclass(frozen=True, slots=True)
class HeadShown:
    signed: str
    signed_iso: str
    entries: str
    digest: str
    key_id: str


@dataclass(frozen=True, slots=True)
class JournalPage:
    """`text`: the newest head as people keep it; None before the first."""

    head: Head
    text: str | None
    key: str | None
    newest: HeadShown | None
    earlier: tuple[HeadShown, ...]


def journal_page(
    heads: tuple[SignedHead, ...], *, text: str | None, key: str | None
) -> JournalPage:
    shown = tuple(_show(head) for head in heads)
    return JournalPage(
        head=Head(
            title="The journal and its heads",
            description="Every act is in a chained journal; its newest digest is signed daily.",
            path="/journal",
            json_path="/api/v1/journal/heads",
            kind="article",
        ),
        text=text,
        key=key,
        newest=shown[0] if shown else None,
        earlier=shown[1:],
    )


def _show(head: SignedHead) -> HeadShown:
    return HeadShown(
        signed=show_moment(head.signed_at),
        signed_iso=head.signed_at.isoformat(),
        entries=grouped(str(head.n_seals)),
        digest=head.digest,
        key_id=head.key_id,
    )


@router.get("/journal")
def journal(request: Request, session: ReadSession, viewer: Viewer) -> Response:
    from server.actions.show_heads import show_heads

    kept = show_heads(session)
    page = journal_page(
        tuple(one.head for one in kept),
        text=kept[0].text if kept else None,
        key=_key(request, kept[0].head) if kept else None,
    )
    return render(request, "journal.html", page, site=site_of(request, viewer))


@router.get("/journal/head")
def newest_head(session: ReadSession) -> Response:
    """The newest head as text, to be kept elsewhere."""
    from server.actions.show_heads import show_heads

    kept = show_heads(session, limit=1)
    if not kept:
        raise NotFound(_NOT_YET)
    return PlainTextResponse(kept[0].text, headers={"Cache-Control": "no-cache"})


@router.get("/journal/key")
def public_key(request: Request, session: ReadSession) -> Response:
    """The public key that the newest head was signed with, as PEM."""
    heads = list_heads(session, limit=1)
    key = _key(request, heads[0]) if heads else None
    if key is None:
        raise NotFound(_NOT_YET)
    return PlainTextResponse(key, headers={"Cache-Control": "no-cache"})


def _key(request: Request, head: SignedHead) -> str | None:
    from server.actions.show_heads import show_key

    settings: Settings = request.app.state.settings
    return show_key(data=settings.data, key_id=head.key_id)
