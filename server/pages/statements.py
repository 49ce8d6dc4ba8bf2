"""Answers to claims as pages show them: beside the claim, as the maker's or a tester's words."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from server.model.bench import Claim
from server.model.moderation import StatementView
from server.model.people import StatementKind
from server.wording.counts import show_date
from server.wording.figures import show_claim


@dataclass(frozen=True, slots=True)
class StatementShown:
    """`removed`: what stands in its place once it was taken away, with the reason."""

    public_id: str
    lead: str
    text: str
    source: str
    is_maker: bool
    removed: str | None


@dataclass(frozen=True, slots=True)
class ClaimAnswers:
    """A claim of an appliance with its page and the answers to it."""

    title: str
    href: str
    statements: tuple[StatementShown, ...]


def show_statements(statements: Iterable[StatementView]) -> tuple[StatementShown, ...]:
    return tuple(_shown(one) for one in statements)


def claim_answers(
    ids: Mapping[Claim, str], statements: Iterable[StatementView]
) -> tuple[ClaimAnswers, ...]:
    """Each claim of an appliance, with the answers that stand."""
    by_claim: dict[str, list[StatementView]] = {}
    for one in statements:
        if one.removed_at is None:
            by_claim.setdefault(one.claim_id, []).append(one)
    return tuple(
        ClaimAnswers(
            title=f"{show_claim(claim)}, “{claim.wording}”",
            href=f"/claims/{public_id}",
            statements=show_statements(by_claim.get(public_id, ())),
        )
        for claim, public_id in ids.items()
    )


def _shown(one: StatementView) -> StatementShown:
    is_maker = one.kind is StatementKind.MAKER
    day = show_date(one.stated_on)
    lead = f"{one.maker} answers, {day}" if is_maker else f"{one.by} asked {one.maker}, {day}"
    removed = None
    if one.removed_at is not None:
        removed = f"Removed on {show_date(one.removed_at)}: {one.reason or 'the reason was erased'}"
    return StatementShown(
        public_id=one.public_id,
        lead=lead,
        text=one.text or "The words were erased.",
        source=one.source,
        is_maker=is_maker,
        removed=removed,
    )
