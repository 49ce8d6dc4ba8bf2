"""What the figure descriptions hold: values in shown units, tables in words."""

from dataclasses import replace

import pytest

from server.charts import (
    along_the_load,
    claim_every_way,
    figure_table,
    fit_residuals,
    printed_and_measured,
    run_trace,
    where_the_watts_go,
)
from server.charts.figure import MARKERS, Mark
from server.model.bench import Claim, Plate
from server.model.measured import Metric
from server.model.results import Curve
from server.model.words import MetricName
from tests.charts.examples import (
    LISTINGS,
    READING,
    SEGMENTS,
    WATTS_PER_HP,
    input_power,
    listing,
    reduction,
    shaft_power,
    trace,
)


def plain(text):
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def test_printed_and_measured_rows():
    spec = printed_and_measured(LISTINGS, how_chosen="Newest first.")
    panel = spec.panels[0]

    assert [row.label for row in panel.rows][:2] == ["Tollan Shed 40", "Millbeck WD-30"]
    assert [m.mark for m in panel.rows[0].marks] == [Mark.RANGE, Mark.PRINTED, Mark.SHAFT]
    dot = panel.rows[0].marks[-1]
    assert (dot.value, dot.low, dot.high) == pytest.approx((642.0, 629.16, 654.84))
    assert plain(panel.rows[0].value) == "20.0 ± 0.4 %"
    assert plain(panel.rows[3].value) == "at least 37.0 %"
    assert panel.rows[6].value == "nothing printed"
    assert panel.rows[7].value == "not measured"
    assert spec.notes == ("Newest first.",)
    assert all(0 <= m.value <= panel.axis.high for row in panel.rows for m in row.marks)


def test_hp_ticks_stand_beneath_only_where_a_claim_is_in_hp():
    in_hp = printed_and_measured([listing()]).panels[0].axis
    in_watts = printed_and_measured([listing(typed="3700 W")]).panels[0].axis

    assert in_hp.second[0] == "hp"
    assert in_hp.second[1] == pytest.approx(WATTS_PER_HP)
    assert in_watts.second is None


def test_the_table_says_what_the_picture_shows():
    table = figure_table(printed_and_measured(LISTINGS))

    assert [plain(cell) for cell in table.rows[1]] == [
        "Millbeck WD-30",
        "wet/dry vacuum",
        "5.0 hp (3 728 W)",
        "574 ± 11 W",
        "838 ± 17 W",
        "22.5 ± 0.4 %",
    ]
    assert table.rows[7][3:] == ("not measured", "not measured", "not measured")
    assert all(len(row) == len(table.headers) for row in table.rows)


def test_the_claim_has_a_row_for_each_meaning_and_two_rules():
    spec = claim_every_way(READING, plate=Plate(circuit_a=15.0))
    panel = spec.panels[0]

    assert len(panel.rows) == 7
    assert [(r.mark, plain(r.label)) for r in panel.rules] == [
        (Mark.PRINTED, "printed 5.0 hp"),
        (Mark.LIMIT, "15 A plug, continuously"),
    ]
    assert panel.rows[-1].marks == ()
    assert panel.rows[-1].value == "not measured"
    assert len(spec.table.rows) == 8
    assert plain(spec.table.rows[0][2]) == "15.39 ± 0.32 %"
    assert plain(claim_every_way(READING).panels[0].rules[1].label) == "plug, continuously"


def test_a_claim_in_watts_has_no_hp_ticks():
    watts = Claim("power", 1200.0, "1200 W", "1200 W")
    spec = claim_every_way(replace(READING, claim=watts))
    assert spec.panels[0].axis.second is None


def test_a_claim_with_nothing_measured_still_stands():
    bare = replace(READING, meanings=tuple(replace(m, value=None) for m in READING.meanings))
    spec = claim_every_way(bare)
    assert len(spec.panels[0].rules) == 1
    assert "None of its meanings was measured" in spec.sentence


def test_along_the_load_is_in_shown_units():
    spec = along_the_load(reduction())
    power, speed, efficiency, current = spec.panels

    assert [p.y.unit for p in spec.panels] == ["W", "r/min", "%", "A"]
    assert power.points[0].marker == "cross"
    assert speed.points[0].y[0] == pytest.approx(
        reduction().points[0].speed_rad_s * 9.549296585513721
    )
    assert max(efficiency.points[0].y) > 30
    assert current.x.low == 0
    assert power.lines[0].half_width[0] == pytest.approx(14.0)
    assert [n.label for n in power.named] == ["highest", "at rated current"]


def test_a_run_without_input_has_no_efficiency_panel():
    run = reduction(with_curves=False, with_input=False)
    assert [p.y.label for p in along_the_load(run).panels] == ["shaft power", "speed", "current"]


def test_each_appliance_has_its_own_marker_and_hue():
    named = [(f"Tollan {i}", reduction()) for i in range(6)]
    panel = along_the_load(named).panels[0]

    assert [p.marker for p in panel.points] == list(MARKERS)
    assert len({p.role for p in panel.points}) == 6
    assert {p.role for p in panel.points}.isdisjoint({"measured", "printed", "limit", "wall"})
    assert panel.named == ()
    table = along_the_load(named).table
    assert table.headers[0] == "Appliance"
    assert len(table.rows) == 48


def test_many_load_points_are_drawn_sparsely_side_by_side_and_whole_alone():
    spec = along_the_load([("Tollan", reduction(40)), ("Quarrow", reduction(5))])

    assert [len(p.x) for p in spec.panels[0].points] == [12, 5]
    assert spec.panels[0].points[0].x[-1] == pytest.approx(2.5)
    assert spec.notes
    assert len(spec.table.rows) == 17
    assert len(along_the_load(reduction(40)).panels[0].points[0].x) == 40


def test_headline_figures_that_are_bounds_say_so():
    name = MetricName.SHAFT_POWER_MAX_STEADY
    run = reduction()
    metrics = {**run.metrics, name: Metric(name, 1100.0, 10.0, lower_bound=True)}
    panel = along_the_load(replace(run, metrics=metrics)).panels[0]
    assert panel.named[0].label == "highest shown"


def test_wall_is_shaft_and_losses():
    spec = where_the_watts_go(reduction())
    flow = spec.panels[0]

    assert flow.source.value == pytest.approx(input_power(0.8))
    assert [p.label for p in flow.parts] == ["shaft", "losses, together"]
    assert sum(p.value for p in flow.parts) == pytest.approx(flow.source.value)
    assert flow.parts[0].value == pytest.approx(shaft_power(0.8))
    assert spec.title.endswith("at rated current")


def test_without_the_rated_point_the_highest_steady_is_shown():
    run = reduction()
    metrics = {k: v for k, v in run.metrics.items() if not k.value.endswith("rated_current")}
    assert where_the_watts_go(replace(run, metrics=metrics)).title.endswith("highest steady power")


def test_more_at_the_shaft_than_from_the_wall_is_said_not_drawn():
    run = reduction()
    name = MetricName.INPUT_POWER_AT_RATED_CURRENT
    spec = where_the_watts_go(replace(run, metrics={**run.metrics, name: Metric(name, 100.0, 1.0)}))
    assert spec.panels == ()
    assert "More power was read at the shaft" in spec.empty
    assert len(spec.table.rows) == 3


def test_the_trace_keeps_channels_units_and_stretches():
    spec = run_trace(trace(), SEGMENTS)

    assert [(p.y.label, p.y.unit) for p in spec.panels] == [
        ("speed", "r/min"),
        ("torque", "N·m"),
        ("temperature 1", "°C"),
        ("extra reading", ""),
    ]
    assert spec.panels[2].lines[0].y[0] == pytest.approx(20.0)
    assert spec.panels[2].y.low > 0
    assert spec.panels[3].y.low < 0
    assert [s.label for s in spec.panels[0].spans][:3] == ["off", "run-up", "free running"]
    assert all(span.label == "" for span in spec.panels[1].spans)
    assert len(spec.table.rows) == len(SEGMENTS)
    assert "8 steady loads" in plain(spec.sentence)


def test_residuals_are_measured_minus_fitted():
    run = reduction(scale=1.0)
    shifted = replace(run, points=tuple(
        replace(p, shaft_power_w=p.shaft_power_w + 10.0) for p in run.points
    ))  # fmt: skip
    panel = fit_residuals(shifted).panels[0]

    assert panel.points[0].y == pytest.approx([10.0] * 8, abs=0.5)
    assert panel.y.low < 0 < panel.y.high
    # the curve is made of straight lines between its points, hence the half watt
    assert [len(row) for row in fit_residuals(shifted).table.rows] == [5] * 8


def test_where_a_torque_is_met_twice_the_nearer_speed_counts():
    torques, speeds = (0.0, 1.0, 2.0, 1.0), (100.0, 90.0, 60.0, 30.0)
    curves = tuple(
        Curve(name, unit, torques, values, (1.0,) * 4, (False,) * 4, "")
        for name, unit, values in (
            ("speed", "rad/s", speeds),
            ("shaft_power", "W", (0.0, 90.0, 120.0, 30.0)),
        )
    )
    run = reduction(2)
    points = tuple(
        replace(p, torque_nm=1.5, speed_rad_s=speed, shaft_power_w=1.5 * speed)
        for p, speed in zip(run.points, (75.0, 45.0), strict=True)
    )
    power = fit_residuals(replace(run, curves=curves, points=points)).panels[0]
    assert power.points[0].y == pytest.approx([112.5 - 105.0, 67.5 - 75.0])
