"""`benchledger recompute`: rebuild figures from the stored recordings and say what changed."""

import sys

from rich.console import Console
from rich.markup import escape
from rich.progress import MofNCompleteColumn, Progress, SpinnerColumn, TextColumn

from server.actions.recompute_runs import MetricChange, RunChange, recompute_runs
from server.settings import Settings
from server.store.database import make_engine, migrate
from server.wording.figures import show_metric
from server.wording.labels import metric_label, state_word


def recompute(settings: Settings, *, run_ids: list[str], only_stale: bool) -> None:
    """Rebuild the named runs, or all of them, one transaction a run; print each that changed."""
    migrate(settings)
    engine = make_engine(settings)
    console = Console()
    n_runs = n_changed = 0
    columns = (SpinnerColumn(), TextColumn("Recomputing"), MofNCompleteColumn())
    bar = Progress(*columns, console=Console(file=sys.stderr), transient=True)
    try:
        with bar:
            task = bar.add_task("runs", total=None)
            changes = recompute_runs(
                engine,
                files=settings.files,
                public_ids=run_ids,
                only_stale=only_stale,
                on_count=lambda n: bar.update(task, total=n),
            )
            for change in changes:
                bar.advance(task)
                n_runs += 1
                if _changed(change):
                    n_changed += 1
                    _print(console, change)
    finally:
        engine.dispose()
    console.print(f"{n_runs} recomputed, {n_changed} changed.", highlight=False)


def _changed(change: RunChange) -> bool:
    return bool(change.metrics or change.findings_new or change.findings_gone) or (
        change.state_before is not change.state_after
    )


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
    moved = "" if change.n_u is None else f"  ({change.n_u:+.2g} standard uncertainties)"
    return f"{metric_label(change.name)}: {before} → {after}{moved}"
