"""What a maintainer asked to have corrected, beside the field it concerns."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from server.model.views import DraftView
from server.pages.send_fields import label_of
from server.store.asked import asked_fields


@dataclass(frozen=True, slots=True)
class Asked:
    """`by_field`: a remark for a field of the forms. `run_id`: the run that is corrected."""

    run_id: str | None = None
    by_field: Mapping[str, str] = field(default_factory=dict)

    def lines(self, *sections: str) -> tuple[str, ...]:
        """What was asked, as sentences: first of this step's sections, then of any other."""
        here = [(n, text) for n, text in self.by_field.items() if n.startswith(sections)]
        there = [(n, text) for n, text in self.by_field.items() if not n.startswith(sections)]
        return tuple(f"{label_of(name)}: {text}" for name, text in (*here, *there))


def asked_of(session: Session, draft: DraftView) -> Asked:
    """What was asked of the run that this draft corrects; nothing for a new run."""
    if draft.run_id is None:
        return Asked()
    found: dict[str, str] = {}
    for name, text in asked_fields(session, run_id=draft.run_id):
        found[name] = f"{found[name]} {text}" if name in found else text
    return Asked(draft.run_id, found)
