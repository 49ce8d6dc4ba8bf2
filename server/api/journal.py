"""The journal's heads as they were signed."""

from datetime import datetime

from fastapi import Request, Response

from server.api.conditional import answer
from server.api.openapi import api_router
from server.api.shapes import ListOut, Out
from server.dependencies import ReadSession

router = api_router(tags=["journal"])


class HeadOut(Out):
    """A signed head of the journal. `text` is what was signed and its signature, to be kept."""

    entries: int
    digest: str
    signed_at: datetime
    key: str
    signature: str
    text: str


@router.get("/journal/heads", response_model=ListOut[HeadOut])
def list_journal_heads(request: Request, session: ReadSession) -> Response:
    """The newest signed heads of the journal, the newest first; the key is at /journal/key."""
    from server.actions.show_heads import show_heads

    items = [
        HeadOut(
            entries=one.head.n_seals,
            digest=one.head.digest,
            signed_at=one.head.signed_at,
            key=f"ed25519 {one.head.key_id}",
            signature=one.head.signature,
            text=one.text,
        )
        for one in show_heads(session)
    ]
    return answer(request, ListOut[HeadOut](items=items))
