"""The desk in words: why something waits, how long, what was said."""

from datetime import timedelta

from server.model.moderation import DeskKind, DeskState
from server.model.people import ConcernKind
from server.model.words import RunState
from server.wording.counts import count_of

# kind -> (word of the filter, why it waits)
_KINDS: dict[DeskKind, tuple[str, str]] = {
    DeskKind.CONTEST: ("Contested returns", "The tester contests its return"),
    DeskKind.NOTICE: ("Notices", "A notice of something unlawful or unfair"),
    DeskKind.HELD: ("Held by a finding", "A finding holds it back"),
    DeskKind.FIRST: ("First runs", "The first run of its appliance"),
    DeskKind.WAITING: ("Waiting", "Its tester is not in good standing yet"),
    DeskKind.PROBLEM: ("Problems reported", "A reader reports a problem"),
    DeskKind.LOOK: ("To look at", "Published by rule, drawn to be looked at"),
    DeskKind.PARKED: ("Parked jobs", "Its figures could not be made"),
    DeskKind.STATEMENT: ("Makers’ answers", "A maker’s representative answered a claim"),
    DeskKind.REQUEST: ("Requests", "A reader asks for a test"),
}
_STATES: dict[DeskState, str] = {
    DeskState.OPEN: "open",
    DeskState.ACCEPTED: "accepted, waiting for their date",
    DeskState.RETURNED: "returned",
    DeskState.FAILED: "not worked out",
    DeskState.WITHDRAWN: "withdrawn",
    DeskState.SETTLED: "reports settled",
}
_CONCERNS: dict[ConcernKind, str] = {
    ConcernKind.PROBLEM: "Problem reported",
    ConcernKind.CONTEST: "Return contested",
    ConcernKind.NOTICE: "Notice",
    ConcernKind.REQUEST: "Test asked for",
}
_DONE: dict[RunState, str] = {
    RunState.PUBLISHED: "is published",
    RunState.RETURNED: "went back to its tester",
    RunState.WITHDRAWN: "is withdrawn",
    RunState.WAITING: "is accepted and waits for its date",
}


def desk_kind_word(kind: DeskKind) -> str:
    return _KINDS[kind][0]


def desk_kind_reason(kind: DeskKind) -> str:
    return _KINDS[kind][1]


def desk_state_word(state: DeskState) -> str:
    return _STATES[state]


def concern_word(kind: ConcernKind) -> str:
    return _CONCERNS[kind]


def done_words(name: str, state: RunState) -> str:
    """What came of the decision just made."""
    return f"{name}: the run {_DONE.get(state, 'was decided on')}."


def age_words(age: timedelta) -> str:
    """ "under an hour", "5 hours", "one day", "12 days"."""
    hours = int(age.total_seconds() // 3600)
    if hours < 1:
        return "under an hour"
    if hours < 48:
        return count_of(hours, "hour")
    return count_of(hours // 24, "day")


def off_words(n_off: float | None, reason: str | None) -> str:
    """How many standard deviations a figure is off, with its direction."""
    if n_off is None:
        return f"not told, {reason or 'no reason was kept'}"
    if abs(n_off) < 0.05:
        return "none"
    number = f"{abs(n_off):.1f}" if abs(n_off) < 99.5 else "over 99"
    return f"{number} {'above' if n_off > 0 else 'below'}"


def outcome_word(kind: ConcernKind, outcome: str) -> str:
    """What comes of a concern, as a choice."""
    if kind is ConcernKind.CONTEST:
        return {
            "stands": "The return stands",
            "waits": "The run goes back to waiting and is decided anew",
        }[outcome]
    if kind is ConcernKind.REQUEST:
        return {"stands": "It can’t be met", "corrected": "It is met"}[outcome]
    return {
        "stands": "Nothing changes",
        "corrected": "It was right, and what was wrong has been put right",
        "waits": "The run is taken off its pages and looked at again",
    }[outcome]
