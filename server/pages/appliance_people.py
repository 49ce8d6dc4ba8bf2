"""What people said of an appliance, as its page shows it: answers to claims, and wishes."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from server.model.people import MAINTAIN
from server.model.views import ApplianceView, Tester
from server.pages.shapes import Link
from server.pages.statements import ClaimAnswers, claim_answers
from server.store.concerns import requests_of
from server.store.statements import claim_ids, statements_of
from server.wording.counts import count_of


@dataclass(frozen=True, slots=True)
class AppliancePeople:
    claims: tuple[ClaimAnswers, ...] = ()
    wishes: tuple[str, ...] = ()
    request_href: str | None = None
    report_href: str | None = None
    desk: tuple[Link, ...] = ()


def appliance_people(
    session: Session, *, view: ApplianceView, viewer: Tester | None
) -> AppliancePeople:
    own = view.appliance.public_id
    is_maintainer = viewer is not None and MAINTAIN in viewer.scopes
    wishes = requests_of(session, appliance_id=own)
    return AppliancePeople(
        claims=claim_answers(
            claim_ids(session, appliance_id=own), statements_of(session, appliance_id=own)
        ),
        wishes=tuple(f"{wish} ({count_of(n, 'reader')})" for wish, n in wishes.items()),
        request_href=f"/request?appliance={own}",
        report_href=f"/report?appliance={own}",
        desk=(
            Link("Correct the plate", f"/desk/appliances/{own}/plate"),
            Link("Merge with another", f"/desk/merge?from={own}"),
        )
        if is_maintainer
        else (),
    )
