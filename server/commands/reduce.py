"""`benchledger reduce`: a log's figures here and now, the same that a server would give."""

import json
from dataclasses import replace
from pathlib import Path

from rich.console import Console

from server.commands.inputs import check_log, read_bench_file
from server.commands.report import print_report


def reduce(
    log: Path,
    *,
    bench: Path | None,
    as_json: bool,
    svg: Path | None,
    curve: Path | None = None,
    curve_bench: Path | None = None,
) -> None:
    """Print figures as a table or one JSON object; write the picture along the load to `svg`.

    A run in use is placed on the curve of the brake run in `curve`, described by `curve_bench`
    (the run's own bench file where there is none).

    Raises
    ------
    UnusableLog, UnusableBench: a file that can't be used, with every problem found.
    """
    from server.actions.reduce_log import limits_of, reduce_log
    from server.model.words import RunKind
    from server.reduction import place_in_use, read_claims, read_winding
    from server.settings import Settings
    from server.wording.contract import reduction_to_json

    described = read_bench_file(bench)
    reduced = reduce_log(
        check_log(log), file_name=log.name, bench=described, limits=limits_of(Settings())
    )
    reduction = reduced.reduction
    if reduction.kind is RunKind.IN_USE and curve is not None:
        of_brake = read_bench_file(curve_bench or bench)
        of_brake = replace(of_brake, run=replace(of_brake.run, kind=RunKind.BRAKE))
        braked = reduce_log(
            check_log(curve), file_name=curve.name, bench=of_brake, limits=limits_of(Settings())
        )
        metrics = place_in_use(reduction.metrics, curve_of=braked.reduction)
        reduction = replace(reduction, metrics=metrics)
    claims = read_claims(
        reduction.metrics,
        claims=described.claims,
        plate=described.plate,
        rotor_inertia_kg_m2=described.rig.rotor_inertia_kg_m2,
    )
    winding = read_winding(described.run)
    results = reduction_to_json(reduction, claims, reduced.log.columns, winding)
    if svg is not None:
        from server.charts.load import along_the_load
        from server.charts.svg import figure_svg_document

        svg.write_text(figure_svg_document(along_the_load(reduction)), encoding="utf-8")
    if as_json:
        print(json.dumps(results, ensure_ascii=False, indent=2, allow_nan=False))
    else:
        print_report(Console(), results)
