"""What each column of a log is: the sender's word first, then header, unit and readings.

Every guess carries its reason. Where two columns claim one channel the better one is kept and
the other stays under its own name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.errors import Problem, UnitError
from server.intake.guessing import Guess, guess_one
from server.intake.headers import read_header, unit_for
from server.intake.settling import (
    keep_best,
    number_temperatures,
    settle_letter_n,
    settle_letter_t,
)
from server.intake.unit_guess import default_unit
from server.model.bench import ColumnChoice
from server.model.recording import Column
from server.model.words import Channel
from server.units import Conversion, channel_kind, conversion


@dataclass(frozen=True, slots=True)
class Understood:
    """One column with what turns its figures into SI. `conversion` None: kept as it stands."""

    column: Column
    conversion: Conversion | None
    is_clock: bool = False
    is_text: bool = False


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
        guesses.append(Guess(i, read_header(text, below), cells[i] if i < len(cells) else ()))
    _apply_choices(guesses, choices, problems)
    free = [g for g in guesses if g.chosen is None]
    for guess in free:
        guess_one(guess, guesses)
    settle_letter_t(free, guesses)
    settle_letter_n(free, guesses)
    keep_best(guesses)
    number_temperatures(guesses)
    understood = [
        _finish(g, pulses_per_revolution=pulses_per_revolution, problems=problems) for g in guesses
    ]
    return understood, problems


def _apply_choices(
    guesses: Sequence[Guess], choices: Sequence[ColumnChoice], problems: list[Problem]
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


def _chosen_columns(guesses: Sequence[Guess], choice: ColumnChoice) -> list[Guess]:
    same = [g for g in guesses if g.header.text.strip() == choice.header.strip()]
    if not same:
        plain = choice.header.strip().casefold()
        same = [g for g in guesses if g.header.text.strip().casefold() == plain]
    if choice.position is None:
        return same
    at = [g for g in guesses if g.position == choice.position]
    # The position decides only among columns of that header, so that a stored map never shifts.
    return [g for g in at if g in same] or ([] if same or choice.header.strip() else at)


def _finish(
    guess: Guess, *, pulses_per_revolution: float | None, problems: list[Problem]
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
                "Correct the unit, or say what this column is ([columns] in a bench file).",
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
