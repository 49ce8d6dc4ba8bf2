"""`benchledger verify`: check journal, heads, rows and every stored file; say what is wrong."""

import json
import sys
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from server.actions.verify import verify as check
from server.credentials.signing import read_heads
from server.errors import Conflict, Problem, Unusable
from server.model.checking import Fault, Note, Part, SignedHead
from server.settings import Settings
from server.store.database import is_up_to_date, make_engine
from server.wording.counts import count_of

Found = list[Fault | Note]


def verify(settings: Settings, *, heads: list[str], as_json: bool) -> bool:
    """Check the record and print each fault; True if it is sound.

    Raises
    ------
    Conflict: the database is not at this version's tables.
    Unusable: what was given as a head is none.
    """
    kept = [one for given in heads for one in read_given(given)]
    engine = make_engine(settings)
    counts: dict[Part, int] = {}
    try:
        if not is_up_to_date(settings, engine):
            raise Conflict(
                "The database is not at this version's tables, and checking changes nothing. "
                "Run `benchledger migrate` first."
            )

        def run(on_step: Callable[[Part, int], None], on_done: Callable[[int], None]) -> Found:
            def step(part: Part, n: int) -> None:
                counts[part] = n
                on_step(part, n)

            return list(
                check(
                    engine,
                    data=settings.data,
                    files=settings.files,
                    heads=kept,
                    on_step=step,
                    on_done=on_done,
                )
            )

        found = _followed(run)
    finally:
        engine.dispose()
    faults = [one for one in found if isinstance(one, Fault)]
    notes = [one for one in found if isinstance(one, Note)]
    if as_json:
        _print_json(counts, faults, notes)
    else:
        _print(counts, faults, notes)
    return not faults


def read_given(given: str) -> list[tuple[str, SignedHead]]:
    """Heads in a file, or in the text itself."""
    if "\n" in given:
        return [("the head given", head) for head in read_heads(given, name="--head")]
    path = Path(given)
    if not path.is_file():
        raise Unusable(given, [Problem("there is no such file.", "Check the path.")])
    heads = read_heads(path.read_text(errors="replace"), name=path.name)
    return [(f"{path.name}, head of {head.signed_at:%Y-%m-%d}", head) for head in heads]


def _followed(run: Callable[..., Found]) -> Found:
    console = Console(file=sys.stderr)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task("journal", total=None)

        def on_step(part: Part, n: int) -> None:
            bar.reset(task, total=n, description=part.value)

        return run(on_step, lambda n: bar.advance(task, n))


_NOUNS = {
    Part.JOURNAL: "sealed entry",
    Part.HEADS: "signed head",
    Part.ROWS: "table reference",
    Part.LISTING: "catalogue row",
    Part.FIGURES: "figure set",
    Part.FILES: "stored file",
}


def _print(counts: dict[Part, int], faults: list[Fault], notes: list[Note]) -> None:
    console = Console()

    def say(text: str) -> None:
        console.print(text, highlight=False, soft_wrap=True, markup=False)

    looked = [count_of(counts.get(part, 0), _NOUNS[part]) for part in Part]
    say(f"Checked: {', '.join(looked)}.")
    for note in notes:
        say(note.message)
    for fault in faults:
        say(f"FAULT  {fault}")
    say("Sound." if not faults else f"{count_of(len(faults), 'fault')}. The record is not sound.")


def _print_json(counts: dict[Part, int], faults: list[Fault], notes: list[Note]) -> None:
    shape = {
        "sound": not faults,
        "checked": {part.value: counts.get(part, 0) for part in Part},
        "faults": [asdict(fault) for fault in faults],
        "notes": [asdict(note) for note in notes],
    }
    print(json.dumps(shape, ensure_ascii=False, indent=2))
