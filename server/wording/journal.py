"""What changed, in words: each act plainly, maintainers by role, reasons as they were given."""

from collections.abc import Mapping
from datetime import date

from server.model.measured import JsonValue
from server.model.views import JournalRow
from server.wording.counts import show_date

RULE, MAINTAINER, READER = "the rule", "a maintainer", "a reader"
_ROLES = {"system": RULE, "reader": READER, "operator": "the operator"}

# What maintainers do: they are told by their role.
_BY_ROLE = frozenset(
    {
        "run accepted",
        "run looked at",
        "problem settled",
        "contest settled",
        "notice settled",
        "request settled",
        "appliance merged",
        "plate corrected",
        "statement removed",
        "maker domain set",
        "maker domain removed",
    }
)
# What a tester does with their own run and a maintainer with anybody's.
_OF_EITHER = frozenset(
    {"run published", "run returned", "run waiting", "run withdrawn", "run working"}
)

_WORDS: dict[str, str] = {
    "run sent": "Sent",
    "run waiting": "Waits for a look",
    "run published": "Published",
    "run accepted": "Looked at and accepted",
    "run returned": "Returned",
    "run withdrawn": "Withdrawn",
    "run failed": "Its figures could not be made",
    "run working": "Its figures are made again",
    "run looked at": "Looked at afterwards and found sound",
    "figures recomputed": "Figures made again",
    "problem raised": "A problem was reported",
    "contest raised": "The return was contested",
    "request raised": "A test was asked for",
    "problem settled": "The report was settled",
    "contest settled": "The contest was settled",
    "notice settled": "A notice was settled",
    "request settled": "The request was settled",
    "appliance added": "Added",
    "appliance merged": "Merged",
    "plate revised": "Rating plate noted anew",
    "plate corrected": "Rating plate corrected",
    "claim added": "A printed claim was noted",
    "specimen added": "A specimen was noted",
    "statement added": "An answer was noted",
    "statement removed": "An answer was removed",
    "maker domain set": "A mail domain of the maker was set",
    "maker domain removed": "A mail domain of the maker was taken away",
}
_OUTCOMES = {
    "stands": "it stays as it was",
    "corrected": "put right",
    "waits": "the run is looked at again",
}


def actor_word(row: JournalRow) -> str:
    """Who acted, as everybody may know it."""
    if row.act in _BY_ROLE or (row.act in _OF_EITHER and row.is_maintainer):
        return MAINTAINER
    return _ROLES.get(row.actor, row.actor)


def change_text(row: JournalRow) -> str:
    """One act as a sentence without its full stop, the reason after a colon."""
    words = _WORDS.get(row.act)
    if words is None:
        plain = row.act.replace("_", " ").replace(".", " ")
        words = f"{plain[:1].upper()}{plain[1:]}"
    if row.act == "run working" and row.note and not row.is_maintainer:
        words = "Corrected"
    text = f"{words}{_more(row.act, row.after)}, by {actor_word(row)}"
    return f"{text}: {row.note}" if row.note else text


def _more(act: str, after: Mapping[str, JsonValue]) -> str:
    outcome = after.get("outcome")
    if act.endswith(" settled") and isinstance(outcome, str):
        return f" ({_OUTCOMES.get(outcome, outcome)})"
    remarks = after.get("remarks")
    if act == "run returned" and isinstance(remarks, list):
        n = len(remarks)
        return f" with {n} {'remark' if n == 1 else 'remarks'}"
    not_before = after.get("not_before")
    if act == "run accepted" and isinstance(not_before, str):
        return f" for {show_date(date.fromisoformat(not_before))}"
    if act == "plate corrected" and isinstance(after.get("plate"), int):
        return f", revision {after['plate']}"
    if act == "appliance merged":
        return _merged(after)
    if act == "statement added":
        return " of the maker" if after.get("kind") == "maker" else " heard from the maker"
    return ""


def _merged(after: Mapping[str, JsonValue]) -> str:
    if isinstance(after.get("into"), str):
        return " into another, where its runs stand now"
    n = after.get("n_runs")
    return f" with another, {n} {'run' if n == 1 else 'runs'} came along" if n is not None else ""
