"""Read a log and reduce it: the one path that a page, the API and the command all take."""

from dataclasses import dataclass
from pathlib import Path

from server.intake import ReadLimits, read_log
from server.model.bench import Bench
from server.model.recording import LogRead
from server.model.results import Reduction, ReductionOptions
from server.reduction import reduce_run


@dataclass(frozen=True, slots=True)
class ReducedLog:
    log: LogRead
    reduction: Reduction
    options: ReductionOptions


def options_for(bench: Bench) -> ReductionOptions:
    """What changes the figures beside recording, plate and rig."""
    tested_on = bench.run.tested_on
    return ReductionOptions(tested_on=tested_on.isoformat() if tested_on else None)


def reduce_log(path: Path, *, file_name: str, bench: Bench, limits: ReadLimits) -> ReducedLog:
    """Read the file at `path` as the bench describes it and reduce it. No database.

    Raises
    ------
    UnusableLog: the file can't be used; every problem found is named.
    TooLarge: over a limit of the settings.
    """
    log = read_log(
        path,
        name=file_name,
        choices=bench.columns,
        pulses_per_revolution=bench.rig.pulses_per_revolution,
        kind=bench.run.kind,
        limits=limits,
    )
    options = options_for(bench)
    reduction = reduce_run(
        log.recording, kind=bench.run.kind, plate=bench.plate, rig=bench.rig, options=options
    )
    return ReducedLog(log=log, reduction=reduction, options=options)
