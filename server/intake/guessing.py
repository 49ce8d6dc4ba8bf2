"""A guess at one column, from its cells, the words and symbols of its header, and its unit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.intake import vocabulary
from server.intake.cells import DATE, Cell, kind_of
from server.intake.headers import Header, unit_for
from server.model.bench import ColumnChoice
from server.model.words import Channel
from server.units import channel_kind, is_spelled_out, kinds_of

BY_KIND: dict[str, Channel] = {
    "voltage": Channel.VOLTAGE,
    "current": Channel.CURRENT,
    "power": Channel.POWER,
    "apparent_power": Channel.APPARENT_POWER,
    "torque": Channel.TORQUE,
    "speed": Channel.SPEED,
    "frequency": Channel.FREQUENCY,
    "force": Channel.FORCE,
    "temperature": Channel.TEMPERATURE_1,
    "time": Channel.TIME,
}
_COUNTERS = frozenset(
    {"n", "no", "nr", "index", "row", "sample", "num", "number", "i", "id", "punkt", "point"}
)


@dataclass(slots=True)
class Guess:
    position: int
    header: Header
    cells: Sequence[str]
    channel: Channel | None = None
    rank: int = 0
    why: str = "no word or symbol in it is known here; kept under its own name"
    chosen: ColumnChoice | None = None

    @property
    def is_clock(self) -> bool:
        kinds = [kind_of(c) for c in self.cells[:50]]
        return kinds.count(Cell.CLOCK) > 0 and kinds.count(Cell.NUMBER) == 0

    @property
    def is_text(self) -> bool:
        kinds = [kind_of(c) for c in self.cells[:50]]
        return kinds.count(Cell.WORDS) > 0 and kinds.count(Cell.NUMBER) == 0


def guess_one(guess: Guess, guesses: Sequence[Guess]) -> None:
    header = guess.header
    if not header.text.strip():
        guess.why = "it has no header; kept under its own name"
        return
    if guess.is_clock:
        # A column of mere dates is the time only where nothing better is.
        rank = 10 if all(DATE.fullmatch(c) or not c for c in guess.cells[:50]) else 60
        settle(guess, Channel.TIME, rank, "its readings are clock times")
        return
    if guess.is_text:
        guess.why = "its cells are words, not figures; kept under its own name"
        return
    if _is_counter(guess):
        guess.why = "it counts the rows; kept under its own name"
        return
    by_word = _word_of(header)
    if by_word is not None:
        channel, word = by_word
        if channel is None:
            guess.why = f"“{word}” makes it something else; kept under its own name"
            return
        fits = unit_for(header, channel_kind(channel)) is not None
        if channel is Channel.POWER and not fits and unit_for(header, "apparent_power"):
            channel, fits = Channel.APPARENT_POWER, True
        if channel is Channel.BRAKE_SETTING and header.is_marked and not fits:
            _by_unit(guess)  # "Brake (kg)" is what the brake pulls, not how it is set
            return
        rank = 50 + (10 if fits else 0) + (3 if vocabulary.plain(header.name) == word else 0)
        settle(guess, channel, rank, f"the word “{word}” in the header")
        return
    symbol = vocabulary.by_symbol(header.name)
    if symbol is not None and _by_symbol(guess, guesses, *symbol):
        return
    _by_unit(guess)


def _word_of(header: Header) -> tuple[Channel | None, str] | None:
    """The channel its words name; an unmarked unit is taken off only where it fits."""
    found = vocabulary.by_word(header.name)
    if header.is_marked:
        return found
    if found is not None and found[0] and unit_for(header, channel_kind(found[0])) is not None:
        return found
    whole = vocabulary.by_word(header.text)
    if whole is not None and whole[0] is None and header.unit and not header.unit.isalpha():
        return found  # it was the unit that forbade: 1/min is no minimum
    return whole


def settle(guess: Guess, channel: Channel, rank: int, why: str) -> None:
    guess.channel, guess.rank, guess.why = channel, rank, why


def _by_symbol(guess: Guess, guesses: Sequence[Guess], letter: str, index: str | None) -> bool:
    """A symbol counts where its unit fits, or where it has none that says otherwise."""
    channel = vocabulary.SYMBOLS.get(letter)
    header = guess.header
    if letter == "P" and index == "2":
        guess.why = "P2 is by custom what the shaft gives; kept under its own name"
        return True
    if channel is not None:
        fits = unit_for(header, channel_kind(channel)) is not None
        if fits or header.unit is None or not header.is_marked:
            rank = (45 if fits else 30) - (5 if index not in {None, "1"} else 0)
            settle(guess, channel, rank, f"the symbol “{header.name.strip()}”")
            return True
    weak = vocabulary.WEAK_SYMBOLS.get(letter)
    if weak is not None and index is None:
        fits = unit_for(header, channel_kind(weak)) is not None
        alike = all(vocabulary.by_symbol(g.header.name) for g in guesses)
        if fits or (alike and header.unit is None and letter != "s"):
            settle(guess, weak, 40 if fits else 20, f"the symbol “{header.name.strip()}”")
            return True
    return False


def _by_unit(guess: Guess) -> None:
    """Nothing but the unit tells: "rpm", "Volts", "ch 3 [N·m]"."""
    header = guess.header
    if header.unit is None:
        return
    is_alone = header.name == header.text
    is_plain = len(header.unit) > 1 and is_spelled_out(header.unit)
    if not (header.is_marked or is_alone or is_plain):
        return
    for kind in kinds_of(header.unit):
        channel = BY_KIND.get(kind)
        if channel is None or unit_for(header, kind) is None:
            continue
        if channel is Channel.TIME and not (header.is_marked or is_alone):
            return
        if other := (None if is_alone else vocabulary.forbidden(channel, header.name)):
            guess.why = f"“{other}” makes it something else; kept under its own name"
            return
        if channel is Channel.POWER and not is_alone and not vocabulary.is_generic(header.name):
            # Watts may be losses, heat or what the shaft gives; a name not known here decides none.
            return
        settle(guess, channel, 25, f"its unit, {header.unit}, is one of {kind.replace('_', ' ')}")
        return


def _is_counter(guess: Guess) -> bool:
    """A row number: whole numbers that rise by one from 0 or 1, under a name that has no unit."""
    if guess.header.is_marked or len(guess.cells) < 3:
        return False
    words = vocabulary.plain(guess.header.text)
    if words not in {
        "n",
        "no",
        "nr",
        "index",
        "row",
        "sample",
        "num",
        "number",
        "i",
        "id",
        "punkt",
    }:
        return False
    figures = [c for c in guess.cells[:40] if c]
    if not all(c.isascii() and c.isdigit() for c in figures) or int(figures[0]) > 1:
        return False
    counts = [int(c) for c in figures]
    return counts == list(range(counts[0], counts[0] + len(counts)))
