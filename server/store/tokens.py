"""A tester's own tokens."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.model.views import Tester, TokenView
from server.store.tables import ApiTokenRow


def list_tokens(session: Session, *, tester: Tester) -> tuple[TokenView, ...]:
    """Every token of a tester, newest first, ended ones too."""
    rows = session.execute(
        select(ApiTokenRow)
        .where(ApiTokenRow.tester_id == tester.id)
        .order_by(ApiTokenRow.id.desc())
    ).scalars()
    return tuple(
        TokenView(
            public_id=row.public_id,
            label=row.label,
            scopes=tuple(row.scopes),
            created_at=row.created_at,
            expires_at=row.expires_at,
            revoked_at=row.revoked_at,
            used_at=row.used_at,
        )
        for row in rows
    )
