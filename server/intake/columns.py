"""What each column of a log is: the sender's word first, then header, unit and readings.

Every guess carries its reason. Where two columns claim one channel the better one is kept and
the other stays under its own name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.errors import Problem, UnitError
from server.intake import vocabulary
from server.intake.cells import DATE, Cell, kind_of
from server.intake.headers import Header, read_header, unit_for
from server.intake.unit_guess import default_unit
from server.model.bench import ColumnChoice
from server.model.recording import Column
from server.model.words import Channel
from server.units import Conversion, channel_kind, conversion, kinds_of

_TEMPERATURES = (
    Channel.TEMPERATURE_1,
    Channel.TEMPERATURE_2,
    Channel.TEMPERATURE_3,
    Channel.TEMPERATURE_4,
)
_BY_KIND: dict[str, Channel] = {
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


@dataclass(frozen=True, slots=True)
class Understood:
    """One column with what turns its figures into SI. `conversion` None: kept as it stands."""

    column: Column
    conversion: Conversion | None
    is_clock: bool = False
    is_text: bool = False


@dataclass(slots=True)
class _Guess:
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


def understand(
    headers: Sequence[str],
    units: Sequence[str] | None,
    cells: Sequence[Sequence[str]],
    *,
    suffixes: Sequence[str | None] = (),
    choices: Sequence[ColumnChoice] = (),
    pulses_per_revolution: float | None = None,
) -> tuple[list[Understood], list[Problem]]:
    """What every column is, and the problems that keep the file from being used."""
    problems: list[Problem] = []
    guesses = []
    for i, text in enumerate(headers):
        below = units[i] if units is not None and i < len(units) else None
        if not (below or "").strip() and i < len(suffixes) and suffixes[i]:
            below = suffixes[i]
        guesses.append(_Guess(i, read_header(text, below), cells[i] if i < len(cells) else ()))
    _apply_choices(guesses, choices, problems)
    free = [g for g in guesses if g.chosen is None]
    for guess in free:
        _guess_one(guess, guesses)
    _settle_letter_t(free, guesses)
    _keep_best(guesses)
    _number_temperatures(guesses)
    understood = [
        _finish(g, pulses_per_revolution=pulses_per_revolution, problems=problems) for g in guesses
    ]
    return understood, problems


def _apply_choices(
    guesses: Sequence[_Guess], choices: Sequence[ColumnChoice], problems: list[Problem]
) -> None:
    taken: dict[Channel, str] = {}
    for choice in choices:
        found = _chosen_columns(guesses, choice)
        if len(found) != 1:
            names = ", ".join(f"“{g.header.text}”" for g in guesses[:30])
            message, remedy = (
                ("no column has this header.", f"The columns are {names}.")
                if not found
                else ("this header stands over several columns.", "Add position (0 is the first).")
            )
            problems.append(Problem(message, remedy, column=choice.header))
            continue
        guess = found[0]
        if choice.channel is not None and choice.channel in taken:
            problems.append(
                Problem(
                    f"two columns were chosen as {choice.channel.value}: this one and "
                    f"“{taken[choice.channel]}”.",
                    "Choose one.",
                    column=choice.header,
                )
            )
            continue
        if choice.channel is not None:
            taken[choice.channel] = choice.header
        guess.chosen, guess.channel, guess.rank = choice, choice.channel, 100
        guess.why = "chosen by the sender"


def _chosen_columns(guesses: Sequence[_Guess], choice: ColumnChoice) -> list[_Guess]:
    same = [g for g in guesses if g.header.text.strip() == choice.header.strip()]
    if not same:
        plain = choice.header.strip().casefold()
        same = [g for g in guesses if g.header.text.strip().casefold() == plain]
    if choice.position is None:
        return same
    at = [g for g in guesses if g.position == choice.position]
    # The position decides only among columns of that header, so that a stored map never shifts.
    return [g for g in at if g in same] or ([] if same or choice.header.strip() else at)


def _guess_one(guess: _Guess, guesses: Sequence[_Guess]) -> None:
    header = guess.header
    if not header.text.strip():
        guess.why = "it has no header; kept under its own name"
        return
    if guess.is_clock:
        # A column of mere dates is the time only where nothing better is.
        rank = 10 if all(DATE.fullmatch(c) or not c for c in guess.cells[:50]) else 60
        _set(guess, Channel.TIME, rank, "its readings are clock times")
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
        rank = 50 + (10 if fits else 0) + (3 if vocabulary.plain(header.name) == word else 0)
        _set(guess, channel, rank, f"the word “{word}” in the header")
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
    return vocabulary.by_word(header.text)


def _set(guess: _Guess, channel: Channel, rank: int, why: str) -> None:
    guess.channel, guess.rank, guess.why = channel, rank, why


def _by_symbol(guess: _Guess, guesses: Sequence[_Guess], letter: str, index: str | None) -> bool:
    """A symbol counts where its unit fits, or where it has none that says otherwise."""
    channel = vocabulary.SYMBOLS.get(letter)
    header = guess.header
    if channel is not None:
        fits = unit_for(header, channel_kind(channel)) is not None
        if fits or header.unit is None or not header.is_marked:
            rank = (45 if fits else 30) - (5 if index not in {None, "1"} else 0)
            _set(guess, channel, rank, f"the symbol “{header.name.strip()}”")
            return True
    weak = vocabulary.WEAK_SYMBOLS.get(letter)
    if weak is not None and index is None:
        fits = unit_for(header, channel_kind(weak)) is not None
        alike = all(vocabulary.by_symbol(g.header.name) for g in guesses)
        if fits or (alike and header.unit is None and letter != "s"):
            _set(guess, weak, 40 if fits else 20, f"the symbol “{header.name.strip()}”")
            return True
    return False


def _by_unit(guess: _Guess) -> None:
    """Nothing but the unit tells: "rpm", "Volts", "ch 3 [N·m]"."""
    header = guess.header
    if header.unit is None:
        return
    for kind in kinds_of(header.unit):
        channel = _BY_KIND.get(kind)
        if channel is None or unit_for(header, kind) is None:
            continue
        if not header.is_marked and header.name != header.text:
            return
        _set(guess, channel, 25, f"its unit, {header.unit}, is one of {kind.replace('_', ' ')}")
        return


def _is_counter(guess: _Guess) -> bool:
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
    if not all(c.isdigit() for c in figures) or int(figures[0]) > 1:
        return False
    counts = [int(c) for c in figures]
    return counts == list(range(counts[0], counts[0] + len(counts)))


def _settle_letter_t(free: Sequence[_Guess], guesses: Sequence[_Guess]) -> None:
    """A capital T is a torque or a temperature: its unit says which, else the other columns."""
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
            _set(guess, _BY_KIND[kind], 44, f"the symbol “T” with a unit of {kind}")
        elif header.unit is not None and header.is_marked:
            continue
        elif symbol[1] is not None or has & {Channel.TORQUE, Channel.FORCE}:
            _set(guess, Channel.TEMPERATURE_1, 28, "“T” beside a torque or force, so temperature")
        else:
            _set(guess, Channel.TORQUE, 28, "“T” where nothing else is a torque")


def _keep_best(guesses: Sequence[_Guess]) -> None:
    """One column for each channel; the others stay, with the reason."""
    best: dict[Channel, _Guess] = {}
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


def _number_temperatures(guesses: Sequence[_Guess]) -> None:
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


def _finish(
    guess: _Guess, *, pulses_per_revolution: float | None, problems: list[Problem]
) -> Understood:
    header = guess.header
    if guess.channel is None:
        unit = header.unit if header.is_marked else None
        column = Column(guess.position, header.text, None, unit, guess.why)
        return Understood(column, None, is_text=guess.is_clock or guess.is_text)
    kind = channel_kind(guess.channel)
    if guess.channel is Channel.TIME and guess.is_clock:
        column = Column(guess.position, header.text, Channel.TIME, "clock", guess.why)
        return Understood(column, None, is_clock=True)
    chosen = guess.chosen.unit if guess.chosen is not None else None
    written = chosen or unit_for(header, kind) or (header.unit if header.is_marked else None)
    if written is not None:
        why = f"{guess.why}; unit {'chosen by the sender' if chosen else header.place}"
    else:
        written, because = default_unit(guess.channel, header.text, guess.cells)
        why = f"{guess.why}; no unit is given, {because}"
    try:
        by = conversion(written, kind)
    except UnitError as error:
        problems.append(
            Problem(
                str(error),
                "Correct the unit, or say in [columns] what this column is.",
                column=header.text,
            )
        )
        column = Column(guess.position, header.text, guess.channel, written, why)
        return Understood(column, None)
    if guess.channel is Channel.SPEED and by.unit in {"Hz", "kHz"}:
        pulses = pulses_per_revolution or 1.0
        by = Conversion(by.unit, by.scale / pulses, 0.0, by.si_unit)
        said = f"{pulses:g} pulses" if pulses_per_revolution else "one pulse (the rig says nothing)"
        why += f"; {said} a revolution"
    if by.unit == "hp":
        why += "; plain hp is the mechanical one, 745.7 W"
    return Understood(Column(guess.position, header.text, guess.channel, by.unit, why), by)
