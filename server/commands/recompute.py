"""`benchledger recompute`: rebuild figures from the stored recordings and say what changed.

With `--compare` it only says what would change: nothing is stored or published.
"""

import json
import sys
from collections.abc import Callable, Iterator
from functools import partial

from rich.console import Console
from rich.markup import escape
from rich.progress import MofNCompleteColumn, Progress, SpinnerColumn, TextColumn

from server.actions.compare_runs import compare_runs
from server.actions.recompute_runs import recompute_runs
from server.errors import Conflict
from server.model.changes import MetricChange, RunChange
from server.settings import Settings
from server.store.database import is_up_to_date, make_engine, migrate
from server.wording.changes import (
    comparison_to_json,
    move_words,
    summary_of,
    summary_sentences,
    what_moves,
)
from server.wording.counts import count_of
from server.wording.figures import show_metric
from server.wording.labels import metric_label, state_word


def recompute(settings: Settings, *, run_ids: list[str], only_stale: bool) -> None:
    """Rebuild the named runs, or all of them, one transaction a run; print each that changed."""
    migrate(settings)
    engine = make_engine(settings)
    console = Console()
    n_runs = n_changed = 0
    try:
        make = partial(
            recompute_runs, engine, files=settings.files, public_ids=run_ids, only_stale=only_stale
        )
        for change in _followed("Recomputing", make):
            n_runs += 1
            if _changed(change):
                n_changed += 1
                _print(console, change)
    finally:
        engine.dispose()
    console.print(f"{n_runs} recomputed, {n_changed} changed.", highlight=False)


def compare(settings: Settings, *, run_ids: list[str], only_stale: bool, as_json: bool) -> None:
    """Print what recomputing would change, the largest move first, as text or one JSON object.

    Raises
    ------
    Conflict: the database is not at this version's tables; comparing does not change them.
    """
    engine = make_engine(settings)
    try:
        if not is_up_to_date(settings, engine):
            raise Conflict(
                "The database is not at this version's tables, and comparing changes nothing. "
                "Run `benchledger migrate` first."
            )
        make = partial(
            compare_runs, engine, files=settings.files, public_ids=run_ids, only_stale=only_stale
        )
        changes = list(_followed("Comparing", make))
    finally:
        engine.dispose()
    if as_json:
        shape = comparison_to_json(changes)
        print(json.dumps(shape, ensure_ascii=False, indent=2, allow_nan=False))
    else:
        _print_comparison(Console(), changes)


def _followed(word: str, make: Callable[..., Iterator[RunChange]]) -> Iterator[RunChange]:
    """The changes as they are made, with a bar on stderr that moves on by one run."""
    columns = (SpinnerColumn(), TextColumn(word), MofNCompleteColumn())
    console = Console(file=sys.stderr)
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task("runs", total=None)
        for change in make(on_count=lambda n: bar.update(task, total=n)):
            bar.advance(task)
            yield change


def _changed(change: RunChange) -> bool:
    return bool(change.metrics or change.findings_new or change.findings_gone) or (
        change.state_before is not change.state_after
    )


def _print_comparison(console: Console, changes: list[RunChange]) -> None:
    for change in what_moves(changes):
        _print(console, change)
    summary = summary_of(changes)
    for sentence in summary_sentences(summary):
        console.print(sentence, highlight=False, soft_wrap=True)
    if summary.moving:
        ids = ", ".join(change.public_id for change in summary.moving)
        words = count_of(len(summary.moving), "run")
        console.print(f"Would change state: {words}: {ids}.", highlight=False, soft_wrap=True)


def _print(console: Console, change: RunChange) -> None:
    console.print(
        f"[bold]{change.public_id}[/bold] {escape(change.appliance)}  "
        f"{change.method_before} → {change.method_after}",
        highlight=False,
    )
    for metric in change.metrics:
        console.print(f"  {_metric(metric)}", highlight=False)
    for code in change.findings_new:
        console.print(f"  finding that is new: {code.value}", highlight=False)
    for code in change.findings_gone:
        console.print(f"  finding that is gone: {code.value}", highlight=False)
    if change.state_before is not change.state_after:
        before, after = state_word(change.state_before), state_word(change.state_after)
        console.print(f"  state: {before} → {after}", highlight=False)


def _metric(change: MetricChange) -> str:
    before, after = show_metric(change.before).text, show_metric(change.after).text
    return f"{metric_label(change.name)}: {before} → {after}  ({move_words(change)})"
