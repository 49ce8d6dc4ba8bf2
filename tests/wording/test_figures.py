"""Figures as people read them."""

import math

import pytest

from server.model.bench import Claim
from server.model.measured import MeaningReading, Metric
from server.model.words import Meaning, MetricName
from server.wording.figures import (
    RAD_S_PER_R_MIN,
    WATTS_PER_HP,
    claim_horsepower,
    horsepower_kind,
    show_claim,
    show_meaning,
    show_meaning_ratio,
    show_metric,
    show_plain,
    show_power,
    show_quantity,
    show_ratio,
    show_speed,
    value_with_uncertainty,
)

HIGHEST = MetricName.SHAFT_POWER_MAX_STEADY


def plain(text):
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def test_the_uncertainty_shown_is_expanded():
    # standard 7 W, so 95 % is 14 W
    assert plain(value_with_uncertainty(642.3, 7.0, "W")) == "642 ± 14 W"


def test_number_and_unit_can_not_be_parted():
    shown = show_metric(Metric(HIGHEST, 1130.4, 12.5))

    assert " " not in shown.text
    assert plain(shown.text) == "1 130 ± 25 W"
    assert (shown.unit, plain(shown.number)) == ("W", "1 130 ± 25")


@pytest.mark.parametrize(
    ("name", "value", "u", "expected"),
    [
        (MetricName.EFFICIENCY_MAX, 0.602, 0.007, "60.2 ± 1.4 %"),
        (MetricName.POWER_FACTOR_AT_RATED_CURRENT, 0.962, 0.004, "0.962 ± 0.008"),
        (MetricName.FREE_SPEED, 2094.395, 5.0, "20 000 ± 100 r/min"),
        (MetricName.TORQUE_AT_MAX_STEADY_POWER, 1.384, 0.01, "1.384 ± 0.020 N·m"),
        (MetricName.SUPPLY_SAG, 0.031, 0.001, "3.10 ± 0.20 %"),
        (MetricName.ROTOR_ENERGY_TIME, 0.092, 0.004, "0.092 ± 0.008 s"),
        (MetricName.CURRENT_AT_MAX_STEADY_POWER, 15.44, None, "15.4 A"),
    ],
)
def test_each_kind_has_its_unit(name, value, u, expected):
    assert plain(show_metric(Metric(name, value, u)).text) == expected


def test_a_missing_figure_says_so_and_why():
    shown = show_metric(Metric.missing(HIGHEST, "the brake never loaded the motor"))

    assert shown.text == "not measured"
    assert shown.is_missing
    assert shown.note == "the brake never loaded the motor"
    assert show_metric(None).text == "not measured"


def test_a_lower_bound_is_said_in_words():
    shown = show_metric(Metric(HIGHEST, 690.2, 7.0, lower_bound=True), like="5 hp")

    assert plain(shown.text) == "at least 690 W"
    assert plain(shown.beside) == "at least 0.926 hp"
    assert "690 ± 14 W" in plain(shown.note)


def test_horsepower_stands_beside_only_where_the_claim_is_in_it():
    metric = Metric(HIGHEST, 745.7, 7.457)

    assert plain(show_metric(metric, like="5.0 hp").beside) == "1.000 ± 0.020 hp"
    assert show_metric(metric, like="1200 W").beside is None
    assert show_metric(metric).beside is None
    assert show_metric(Metric(MetricName.FREE_SPEED, 1.0), like="5 hp").beside is None


def test_plain_hp_is_named_mechanical_on_first_use():
    assert plain(show_power(745.7, 7.457, like="5.0 peak hp", first=True)) == (
        "746 ± 15 W (1.000 ± 0.020 mechanical hp)"
    )
    assert plain(show_power(735.5, None, like="1 PS", first=True)) == "736 W (1.00 metric hp)"


@pytest.mark.parametrize(
    ("typed", "kind"),
    [
        ("5.0 hp", "hp"),
        ("5.0 peak HP", "hp"),
        ("6.5hp", "hp"),
        ("2 horsepower", "hp"),
        ("1.5 PS", "metric hp"),
        ("1.5 metric hp", "metric hp"),
        ("1 electric hp", "electric hp"),
        ("1200 W", None),
        ("", None),
        (None, None),
    ],
)
def test_which_horsepower_is_meant(typed, kind):
    assert horsepower_kind(typed) == kind


def test_horsepowers_follow_from_their_definitions():
    pound_kg, foot_m, g_n = 0.45359237, 0.3048, 9.80665
    assert WATTS_PER_HP["hp"] == pytest.approx(550 * pound_kg * g_n * foot_m, rel=1e-15)
    assert WATTS_PER_HP["metric hp"] == pytest.approx(75 * g_n, rel=1e-15)
    assert WATTS_PER_HP["electric hp"] == 746
    assert pytest.approx(2 * math.pi / 60, rel=1e-15) == RAD_S_PER_R_MIN


def test_ratios_carry_their_uncertainty():
    assert plain(show_ratio(0.154, 0.0015)) == "15.40 ± 0.30 %"
    assert plain(show_ratio(12.3, 0.2)) == "12.3 ± 0.4 times"
    assert show_ratio(None) == "not measured"


def test_the_printed_figure_is_shown_as_printed_with_si_in_brackets():
    hp = Claim("power", 3728.5, "5.0 peak hp", "5.0 hp")
    watts = Claim("power", 1200.0, "1200 W", "1200 W")
    speed = Claim("speed", 2094.395, "20,000 rpm", "20,000 rpm")

    assert plain(show_claim(hp)) == "5.0 hp (3 728 W)"
    assert plain(show_claim(watts)) == "1200 W"
    assert plain(show_claim(speed)) == "20,000 rpm (20 000 r/min)"
    assert claim_horsepower(hp) == "hp"
    assert claim_horsepower(watts) is None
    assert claim_horsepower(speed) is None


def test_plate_figures():
    assert plain(show_plain(8.2, "A")) == "8.2 A"
    assert plain(show_plain(2094.395, "rad/s")) == "20 000 r/min"
    assert show_plain(None, "A") == "not stated"
    assert plain(show_plain(294.65, "K")) == "21.5 °C"
    assert plain(show_speed(2094.395, 0.523599)) == "20 000 ± 10 r/min"
    assert plain(show_quantity(0.5, 0.005, "N m")) == "0.500 ± 0.010 N·m"


def test_meanings():
    steady = Meaning.SHAFT_HIGHEST_STEADY
    plug = Meaning.CIRCUIT_CONTINUOUS_LIMIT

    assert plain(show_meaning(MeaningReading(steady, 838.0, 10.0))) == "838 ± 20 W"
    bound = MeaningReading(steady, 838.0, 10.0, 0.2248, 0.0027, lower_bound=True)
    assert plain(show_meaning(bound)) == "at least 838 W"
    assert plain(show_meaning_ratio(bound)) == "at least 22.5 %"
    assert show_meaning(MeaningReading(steady, None, reason="x")) == "not measured"
    assert plain(show_meaning(MeaningReading(plug, 1800.0))) == "1 800 VA"
    assert show_meaning(MeaningReading(plug, None)) == "not stated"
