"""Counts, dates and what a figure rests on, in words."""

from datetime import date, datetime

from server.wording.numbers import NB_SPACE, grouped

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_SMALL = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def count_of(n: int, noun: str) -> str:
    """ "no runs", "one run", "3 runs": the last word of the noun is put in the plural."""
    if n == 1:
        return f"one{NB_SPACE}{noun}"
    many = plural(noun)
    return f"no{NB_SPACE}{many}" if n == 0 else f"{grouped(str(n))}{NB_SPACE}{many}"


def plural(noun: str) -> str:
    if noun.endswith(("s", "x", "ch", "sh")):
        return f"{noun}es"
    if noun.endswith("y") and noun[-2:-1] not in "aeiou":
        return f"{noun[:-1]}ies"
    return f"{noun}s"


def span_of(noun: str, first: int, last: int) -> str:
    """ "lines 5 to 7"; "line 5" where it is one."""
    if first == last:
        return f"{noun} {grouped(str(first))}"
    return f"{plural(noun)} {grouped(str(first))} to {grouped(str(last))}"


def small_number(n: int) -> str:
    """ "seven" up to nine, figures from ten on."""
    return _SMALL[n] if 0 <= n < len(_SMALL) else grouped(str(n))


def basis_line(n_runs: int, n_specimens: int, n_testers: int) -> str:
    """ "4 runs on 2 specimens by 3 testers": what an appliance's figures rest on."""
    if n_runs == 0:
        return "no bench runs yet"
    return (
        f"{count_of(n_runs, 'run')} on {count_of(n_specimens, 'specimen')} "
        f"by {count_of(n_testers, 'tester')}"
    )


def show_date(day: date | None) -> str:
    """ "12 Nov 2026"; "date not stated" where it is missing."""
    if day is None:
        return "date not stated"
    return f"{day.day}{NB_SPACE}{_MONTHS[day.month - 1]}{NB_SPACE}{day.year}"


def show_day(day: date | None, *, today: date) -> str:
    """ "12 Nov" within the year of `today`, else with its year."""
    if day is None or day.year != today.year:
        return show_date(day)
    return f"{day.day}{NB_SPACE}{_MONTHS[day.month - 1]}"


def show_moment(at: datetime) -> str:
    """ "12 Nov 2026, 14:05 UTC" from an aware UTC time."""
    return f"{show_date(at.date())}, {at:%H:%M}{NB_SPACE}UTC"
