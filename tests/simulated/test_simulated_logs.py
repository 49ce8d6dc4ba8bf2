"""Simulated sound logs give their true figures; slips of unit are flagged.

The quick test repeats fixed seeds. `--slow` draws 200 fresh logs and 200 fresh slips and prints
its seed; BENCHLEDGER_SIM_SEED repeats it, BENCHLEDGER_SIM_LOGS changes how many.
"""

import io
import os
import secrets
from pathlib import Path

import pytest

from seed_data.draws import FAMILIES, SLIPS, draw_case
from tests.simulated.acceptance import check_slip, check_sound, report, slipped_cases

QUICK_SEED = 20_261_125
QUICK_CASES = [
    (family, style, QUICK_SEED + 10 * i + j)
    for i, family in enumerate(FAMILIES)
    for j, style in enumerate(("dwells", "sweep", "dwells", "sweep"))
]


@pytest.mark.parametrize(("family", "style", "seed"), QUICK_CASES)
def test_a_sound_log_gives_its_true_figures(
    family: str, style: str, seed: int, tmp_path: Path
) -> None:
    outcome = check_sound(draw_case(seed, family=family, style=style), tmp_path)
    assert outcome.refusal is None, outcome.line()
    assert outcome.power_is_right, outcome.line()
    assert outcome.efficiency_is_right, outcome.line()
    assert outcome.is_bracketed, outcome.line()
    assert not outcome.errors, outcome.line()
    assert not outcome.says_slip, outcome.line()


def test_every_slip_of_unit_is_flagged(tmp_path: Path) -> None:
    n_kinds = 2 * sum(len(factors) for factors in SLIPS.values())
    for case, channel, factor in slipped_cases(QUICK_SEED, n_kinds):
        is_flagged, said = check_slip(case, tmp_path)
        assert is_flagged, f"seed {case.seed}: {channel} × {factor:.4g} unseen; {said}"


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_two_hundred_fresh_logs_reach_the_goals() -> None:
    seed = int(os.environ.get("BENCHLEDGER_SIM_SEED", secrets.randbelow(2**31)))
    n_logs = int(os.environ.get("BENCHLEDGER_SIM_LOGS", "200"))
    table = io.StringIO()
    is_reached = report(n_logs, n_logs, seed, out=table)
    print(table.getvalue())
    assert is_reached, table.getvalue()
