"""Guesses beside one another: letters with two meanings, and one column for each channel."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from server.intake import vocabulary
from server.intake.guessing import BY_KIND, Guess, settle
from server.intake.headers import unit_for
from server.intake.unit_guess import figures
from server.model.words import Channel

_TEMPERATURES = (
    Channel.TEMPERATURE_1,
    Channel.TEMPERATURE_2,
    Channel.TEMPERATURE_3,
    Channel.TEMPERATURE_4,
)


def settle_letter_t(free: Sequence[Guess], guesses: Sequence[Guess]) -> None:
    """A capital T is a torque, a temperature or the time: its unit says which, else the company."""
    has = {g.channel for g in guesses}
    for guess in free:
        symbol = vocabulary.by_symbol(guess.header.name)
        if guess.channel is not None and guess.rank > 25:
            continue
        if symbol is None or symbol[0] != "T" or guess.is_clock:
            continue
        header = guess.header
        kinds = {k for k in ("torque", "temperature", "time") if unit_for(header, k)}
        if len(kinds) == 1:
            kind = kinds.pop()
            settle(guess, BY_KIND[kind], 44, f"the symbol “T” with a unit of {kind}")
        elif header.unit is not None and header.is_marked:
            continue
        elif Channel.TIME not in has and symbol[1] is None and _rises(guess):
            settle(guess, Channel.TIME, 28, "“T” rises from row to row, and nothing else is a time")
            has.add(Channel.TIME)
        elif symbol[1] is not None or has & {Channel.TORQUE, Channel.FORCE}:
            settle(guess, Channel.TEMPERATURE_1, 28, "“T” beside a torque or force, so temperature")
        else:
            settle(guess, Channel.TORQUE, 28, "“T” where nothing else is a torque")


def _rises(guess: Guess) -> bool:
    values = figures(guess.cells)
    return len(values) > 1 and all(a < b for a, b in pairwise(values[:100]))


def keep_best(guesses: Sequence[Guess]) -> None:
    """One column for each channel; the others stay, with the reason."""
    best: dict[Channel, Guess] = {}
    for guess in guesses:
        if guess.channel is None or guess.channel in _TEMPERATURES:
            continue
        now = best.get(guess.channel)
        if now is None or guess.rank > now.rank:
            best[guess.channel] = guess
    for guess in guesses:
        channel = guess.channel
        if channel is None or channel in _TEMPERATURES or best[channel] is guess:
            continue
        guess.why = (
            f"“{best[channel].header.text}” is the better {channel.value.replace('_', ' ')}; "
            f"kept under its own name ({guess.why})"
        )
        guess.channel = None


def number_temperatures(guesses: Sequence[Guess]) -> None:
    """Up to four temperatures, in the order of the file; the sender's numbers stand."""
    taken = {g.channel for g in guesses if g.chosen is not None}
    free = [t for t in _TEMPERATURES if t not in taken]
    for guess in guesses:
        if guess.chosen is not None or guess.channel not in _TEMPERATURES:
            continue
        if free:
            guess.channel = free.pop(0)
        else:
            guess.channel = None
            guess.why = "a fifth temperature; kept under its own name"


def settle_letter_n(free: Sequence[Guess], guesses: Sequence[Guess]) -> None:
    """A capital N beside another speed, and where no force is, is the force in newtons."""
    for guess in free:
        symbol = vocabulary.by_symbol(guess.header.name)
        if symbol != ("N", None) or guess.channel is not Channel.SPEED or guess.header.is_marked:
            continue
        others = {g.channel for g in guesses if g is not guess}
        if Channel.SPEED in others and Channel.FORCE not in others:
            settle(guess, Channel.FORCE, 28, "“N” beside another speed, so a force in newtons")
