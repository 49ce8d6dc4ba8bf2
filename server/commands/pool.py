"""`benchledger pool`: several testers' results of one quantity as one figure, with no server."""

import json
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from server.commands.inputs import check_log
from server.model.pooled import Pooling
from server.wording.figures import value_with_uncertainty
from server.wording.numbers import NB_SPACE, fixed, significant
from server.wording.pooled import (
    METHOD,
    agreement_sentence,
    component_sentence,
    flag_sentences,
    flag_words,
    pooling_to_json,
    show_pooled,
)

NONE = "–"


def pool(results: Path, *, as_json: bool) -> None:
    """Print the pooled figure as tables or as one JSON object.

    Raises
    ------
    Unusable: a table that can't be used, with every problem found.
    """
    from server.intake.results_table import read_results
    from server.reduction.pooling import pool as pool_results

    pooling = pool_results(read_results(check_log(results), name=results.name))
    if as_json:
        shape = pooling_to_json(pooling)
        print(json.dumps(shape, ensure_ascii=False, indent=2, allow_nan=False))
    else:
        print_pooling(Console(), pooling)


def print_pooling(console: Console, pooling: Pooling) -> None:
    """Print testers, the pooled figure and what their spread says, for people."""
    console.print(_testers(pooling))
    console.print(_figures(pooling))
    console.print(escape(agreement_sentence(pooling)), highlight=False)
    for sentence in flag_sentences(pooling):
        console.print(f"Stands out: {escape(sentence)}", highlight=False)
    told = [c for c in pooling.components if c.sd is not None]
    if len(told) > 1:
        for component in told:
            console.print(component_sentence(component), highlight=False)
    console.print(f"{METHOD[0].upper()}{METHOD[1:]}; ± is the 95 % interval.", style="dim")


def _testers(pooling: Pooling) -> Table:
    table = Table("tester", "runs", "value", "sd of runs", "h", "k", "")
    for t in pooling.testers:
        table.add_row(
            escape(t.tester),
            str(t.n),
            value_with_uncertainty(t.value, t.standard_uncertainty, ""),
            NONE if t.sd is None else significant(t.sd),
            _two(t.h),
            _two(t.k),
            flag_words(t),
        )
    return table


def _figures(pooling: Pooling) -> Table:
    table = Table("what", "figure", "note")
    rows: list[tuple[str, str | None, str]] = [
        (f"pooled, testers: {pooling.n_testers}", show_pooled(pooling.pooled), "interval"),
        ("between testers, sd", _plain(pooling.between_tester_sd), "between_tester_sd"),
        ("Q", _plain(pooling.q), "q"),
        ("chance of such a Q", _percent(pooling.q_probability), "q_probability"),
        ("I²", _percent(pooling.i_squared), "i_squared"),
        ("Birge ratio", _plain(pooling.birge_ratio), "birge_ratio"),
        ("repeatability, sd", _plain(pooling.repeatability_sd), "repeatability_sd"),
        ("reproducibility, sd", _plain(pooling.reproducibility_sd), "reproducibility_sd"),
        ("critical h", _plain(pooling.critical_h), "critical_h"),
        ("critical k", _plain(pooling.critical_k), "critical_k"),
    ]
    for what, figure, name in rows:
        reason = pooling.reasons.get(name, "")
        table.add_row(what, NONE if figure is None else figure, escape(reason))
    return table


def _plain(value: float | None) -> str | None:
    return None if value is None else significant(value)


def _percent(share: float | None) -> str | None:
    if share is None:
        return None
    return f"{significant(100 * share, 2)}{NB_SPACE}%" if share >= 0.001 else f"< 0.1{NB_SPACE}%"


def _two(value: float | None) -> str:
    return NONE if value is None else fixed(value, 2)
