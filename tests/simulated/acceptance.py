"""Simulated logs through intake and reduction, beside what was true.

    python -m tests.simulated.acceptance --logs 200 [--seed N] [--slips N] [--plain]

prints one table: how many logs are within 1 % of the true highest steady shaft power and within
one point of the true efficiency, which sound logs got an error finding, and which slips of unit
went unseen. Every failing log is named by its seed: `draw_case(seed)` makes it again.
"""

import argparse
import secrets
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from seed_data.dialects import Dialect
from seed_data.draws import FAMILIES, SLIPS, Case, draw_case
from server.errors import BenchledgerError
from server.intake import read_bench, read_log
from server.model.results import Reduction, ReductionOptions
from server.model.words import FindingCode, MetricName, RunKind, Severity
from server.reduction import reduce_run

POWER_TOLERANCE_REL = 0.01
EFFICIENCY_TOLERANCE = 0.01
SHARE_WITHIN = 0.95


@dataclass(frozen=True)
class Outcome:
    """One sound log: relative error of power, errors of efficiency (fractions), findings."""

    case: Case
    power_rel: float | None
    efficiency_at_max: float | None
    efficiency_best: float | None
    errors: tuple[str, ...]
    warnings: tuple[str, ...]
    is_bracketed: bool
    refusal: str | None = None

    @property
    def power_is_right(self) -> bool:
        return self.power_rel is not None and abs(self.power_rel) <= POWER_TOLERANCE_REL

    @property
    def efficiency_is_right(self) -> bool:
        both = (self.efficiency_at_max, self.efficiency_best)
        return all(e is not None and abs(e) <= EFFICIENCY_TOLERANCE for e in both)

    @property
    def says_slip(self) -> bool:
        return FindingCode.UNIT_SLIP in (*self.errors, *self.warnings)

    def line(self) -> str:
        def show(value: float | None, times: float) -> str:
            return "none" if value is None else f"{value * times:+.2f}"

        case = self.case
        return (
            f"seed {case.seed} {case.family} {case.style}: power {show(self.power_rel, 100)} %,"
            f" efficiency at it {show(self.efficiency_at_max, 100)}, best"
            f" {show(self.efficiency_best, 100)} points; bracketed {self.is_bracketed};"
            f" errors {list(self.errors)}; warnings {list(self.warnings)};"
            f" blanks {case.dialect.blank_rel:g}"
            + (f"; refused: {self.refusal}" if self.refusal else "")
        )


def reduce_case(case: Case, folder: Path) -> Reduction:
    """The way an upload takes: bench file, log, reduction."""
    path = folder / case.log_name
    path.write_bytes(case.log)
    bench = read_bench(case.bench)
    log = read_log(
        path,
        name=case.log_name,
        choices=bench.columns,
        pulses_per_revolution=bench.rig.pulses_per_revolution,
    )
    return reduce_run(
        log.recording,
        kind=RunKind.BRAKE,
        plate=bench.plate,
        rig=bench.rig,
        options=ReductionOptions(),
    )


def check_sound(case: Case, folder: Path) -> Outcome:
    """One sound log beside its truth."""
    try:
        reduction = reduce_case(case, folder)
    except BenchledgerError as refused:
        return Outcome(case, None, None, None, (), (), False, refusal=str(refused))

    def off(name: MetricName, true: float) -> float | None:
        found = reduction.metrics[name].value
        return None if found is None else found - true

    power = off(MetricName.SHAFT_POWER_MAX_STEADY, case.truth.shaft_power_max_steady)
    return Outcome(
        case=case,
        power_rel=None if power is None else power / case.truth.shaft_power_max_steady,
        efficiency_at_max=off(
            MetricName.EFFICIENCY_AT_MAX_STEADY_POWER, case.truth.efficiency_at_max
        ),
        efficiency_best=off(MetricName.EFFICIENCY_MAX, case.truth.efficiency_max),
        errors=tuple(str(f.code) for f in reduction.findings if f.severity is Severity.ERROR),
        warnings=tuple(str(f.code) for f in reduction.findings if f.severity is Severity.WARNING),
        is_bracketed=not reduction.metrics[MetricName.SHAFT_POWER_MAX_STEADY].lower_bound,
    )


def slipped_cases(
    seed: int, n: int, *, dialect: Dialect | None = None
) -> Iterator[tuple[Case, str, float]]:
    """`n` logs with one channel's unit wrong, going round channels, factors and directions."""
    rng = np.random.default_rng(seed)
    kinds = [(c, f) for c, factors in SLIPS.items() for x in factors for f in (x, 1 / x)]
    made = 0
    while made < n:
        channel, factor = kinds[made % len(kinds)]
        drawn = int(rng.integers(2**31))
        sound = draw_case(drawn)
        if channel not in sound.written:
            continue
        made += 1
        yield draw_case(drawn, slip=(channel, factor), dialect=dialect), channel, factor


def check_slip(case: Case, folder: Path) -> tuple[bool, str]:
    """Whether the slip was flagged, and what was said."""
    try:
        reduction = reduce_case(case, folder)
    except BenchledgerError as refused:
        return False, f"refused: {refused}"
    codes = [f"{f.code}/{f.severity}" for f in reduction.findings]
    is_flagged = any(f.code is FindingCode.UNIT_SLIP for f in reduction.findings)
    return is_flagged, ", ".join(codes)


def report(
    n_logs: int, n_slips: int, seed: int, *, dialect: Dialect | None = None, out=sys.stdout
) -> bool:
    """Print the table; True if all goals are reached."""
    print(f"seed {seed}", file=out)
    rng = np.random.default_rng(seed)
    started = time.perf_counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        seeds = rng.integers(2**31, size=n_logs).tolist()
        outcomes = [check_sound(draw_case(s, dialect=dialect), folder) for s in seeds]
        slips = [
            (case, channel, factor, *check_slip(case, folder))
            for case, channel, factor in slipped_cases(seed, n_slips, dialect=dialect)
        ]
    for family in FAMILIES:
        for style in ("dwells", "sweep"):
            _print_group(
                [o for o in outcomes if (o.case.family, o.case.style) == (family, style)],
                f"{family}, {style}",
                out,
            )
    _print_group(outcomes, "all", out)
    for outcome in outcomes:
        if not (outcome.power_is_right and outcome.efficiency_is_right) or outcome.errors:
            print("  " + outcome.line(), file=out)
    warned = Counter(code for o in outcomes for code in o.warnings)
    print(f"warnings on sound logs: {dict(warned)}", file=out)
    unseen = [s for s in slips if not s[3]]
    print(f"slips of unit flagged: {len(slips) - len(unseen)} of {len(slips)}", file=out)
    for case, channel, factor, _, said in unseen:
        print(f"  seed {case.seed} {case.family} {channel} × {factor:.4g}: {said}", file=out)
    print(f"{time.perf_counter() - started:.0f} s", file=out)
    return is_reached(outcomes) and not unseen


def is_reached(outcomes: list[Outcome]) -> bool:
    """The goals for sound logs."""
    enough = SHARE_WITHIN * len(outcomes)
    return (
        sum(o.power_is_right for o in outcomes) >= enough
        and sum(o.efficiency_is_right for o in outcomes) >= enough
        and not any(o.errors or o.says_slip or o.refusal for o in outcomes)
    )


def _print_group(outcomes: list[Outcome], label: str, out) -> None:
    n = len(outcomes)
    power = sum(o.power_is_right for o in outcomes)
    efficiency = sum(o.efficiency_is_right for o in outcomes)
    errors = sum(bool(o.errors) for o in outcomes)
    slips = sum(o.says_slip for o in outcomes)
    refused = sum(o.refusal is not None for o in outcomes)
    print(
        f"{label:28} {n:4} logs: power {power}, efficiency {efficiency} right;"
        f" error findings on {errors}, slips claimed on {slips}, refused {refused}",
        file=out,
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--logs", type=int, default=200)
    parser.add_argument("--slips", type=int, default=None, help="default: as many as logs")
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--plain", action="store_true", help="write every log the same plain way")
    given = parser.parse_args()
    seed = given.seed if given.seed is not None else secrets.randbelow(2**31)
    slips = given.logs if given.slips is None else given.slips
    dialect = Dialect() if given.plain else None
    return 0 if report(given.logs, slips, seed, dialect=dialect) else 1


if __name__ == "__main__":
    sys.exit(main())
