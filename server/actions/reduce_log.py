"""Read a log and reduce it: the one path that a page, the API and the command all take."""

from dataclasses import dataclass
from pathlib import Path

from server.intake import ReadAhead, ReadLimits, read_log
from server.model.bench import Bench
from server.model.recording import LogRead, Recording
from server.model.results import Reduction, ReductionOptions
from server.model.words import RunKind, Source
from server.reduction import reduce_run, winding_reference
from server.settings import Settings

# Sources whose rows were noted one by one, each a load by itself.
NOTED = frozenset({Source.BY_HAND, Source.VIDEO})


@dataclass(frozen=True, slots=True)
class ReducedLog:
    log: LogRead
    reduction: Reduction
    options: ReductionOptions


def limits_of(settings: Settings) -> ReadLimits:
    return ReadLimits(
        max_bytes=settings.max_upload_bytes,
        max_rows=settings.max_rows,
        max_columns=settings.max_columns,
    )


def options_for(bench: Bench) -> ReductionOptions:
    """What changes the figures beside recording, plate and rig."""
    tested_on = bench.run.tested_on
    is_warmth_known = any(i.temperature_coefficient_per_k for i in bench.rig.instruments)
    return ReductionOptions(
        tested_on=tested_on.isoformat() if tested_on else None,
        rows_are_points=bench.run.source in NOTED,
        added_inertia_kg_m2=bench.run.added_inertia_kg_m2,
        ambient_k=bench.run.ambient_k if is_warmth_known else None,
        winding=winding_reference(bench.run) if bench.run.kind is RunKind.BRAKE else None,
    )


def read_described_log(
    path: Path,
    *,
    file_name: str,
    bench: Bench,
    limits: ReadLimits,
    ahead: ReadAhead | None = None,
) -> LogRead:
    """Read the file at `path` with the bench's word on its columns, rig and kind."""
    return read_log(
        path,
        name=file_name,
        choices=bench.columns,
        pulses_per_revolution=bench.rig.pulses_per_revolution,
        kind=bench.run.kind,
        rows_are_points=bench.run.source in NOTED,
        limits=limits,
        sheet=bench.run.sheet,
        ahead=ahead,
    )


def reduce_described(recording: Recording, *, bench: Bench) -> Reduction:
    """The figures of a recording with the bench's kind, plate and rig."""
    return reduce_run(
        recording,
        kind=bench.run.kind,
        plate=bench.plate,
        rig=bench.rig,
        options=options_for(bench),
    )


def reduce_log(path: Path, *, file_name: str, bench: Bench, limits: ReadLimits) -> ReducedLog:
    """Read the file at `path` as the bench describes it and reduce it. No database.

    Raises
    ------
    UnusableLog: the file can't be used; every problem found is named.
    TooLarge: over a limit of the settings.
    """
    log = read_described_log(path, file_name=file_name, bench=bench, limits=limits)
    reduction = reduce_described(log.recording, bench=bench)
    return ReducedLog(log=log, reduction=reduction, options=options_for(bench))
