"""Sentences of the appliance page: definitions, numbers, limits."""

from datetime import UTC, datetime

import pytest

from server.model.bench import Appliance, Claim, ClaimReading, Plate, Rig, RunDetails, Specimen
from server.model.measured import MeaningReading, Metric
from server.model.results import Reduction
from server.model.views import ApplianceView, RunView, Stored, StoredFile
from server.model.words import Meaning, MetricName, RunKind, RunState
from server.wording.sentences import (
    appliance_sentence,
    claim_sentences,
    current_sentence,
    reach_sentence,
    rotor_sentence,
)

NOW = datetime(2026, 11, 12, tzinfo=UTC)
CLAIM = Claim("power", 3728.499, "5.0 peak hp", "5.0 hp")
HIGHEST = MetricName.SHAFT_POWER_MAX_STEADY
RATED = MetricName.SHAFT_POWER_AT_RATED_CURRENT


def plain(text):
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def meaning(which, value, u=5.0, lower_bound=False, claim=CLAIM):
    if value is None:
        return MeaningReading(which, None, reason="not had")
    printed = claim.value_si
    return MeaningReading(which, value, u, value / printed, u / printed, lower_bound)


def reading(*meanings, current=None, time=None, claim=CLAIM):
    return ClaimReading(
        claim,
        meanings,
        current or Metric.missing(MetricName.IMPLIED_CURRENT, "no efficiency was measured"),
        time or Metric.missing(MetricName.ROTOR_ENERGY_TIME, "the rotor's inertia is not stated"),
    )


def view(*metrics, claims=(CLAIM,)):
    stored = Stored("4k7p2m9xq1", "millbeck-wd-30", Appliance("Millbeck", "WD-30", "vacuum"))
    best = None
    if metrics:
        reduction = Reduction(RunKind.BRAKE, "1", {m.name: m for m in metrics})
        best = RunView(
            "r000000001", RunState.PUBLISHED, 1, stored, Plate(), claims,
            Stored("s1", "s", Specimen()), Stored("g1", "g", Rig()), RunDetails(), "orchard", "t1",
            StoredFile("0" * 64, "log.csv", 1), (), {}, 10, reduction, False, None, NOW, NOW, (),
        )  # fmt: skip
    return ApplianceView(stored, Plate(), 1, claims, (), best, 1, 1, (), NOW)


def test_printed_measured_and_their_ratio():
    shown = reading(meaning(Meaning.SHAFT_HIGHEST_STEADY, 1130.4, 12.5))

    sentence = appliance_sentence(view(Metric(HIGHEST, 1130.4, 12.5)), [shown])

    assert plain(sentence) == (
        "Printed 5.0 hp. One bench run shows 1 130 ± 25 W (1.516 ± 0.034 mechanical hp) at the "
        "shaft at most, 30.3 ± 0.7 % of the printed figure."
    )


def test_an_unpassed_peak_is_a_lower_bound_in_the_sentence():
    shown = reading(meaning(Meaning.SHAFT_HIGHEST_STEADY, 690.2, 7.0, lower_bound=True))

    sentence = appliance_sentence(view(Metric(HIGHEST, 690.2, 7.0, True)), [shown])

    assert plain(sentence) == (
        "Printed 5.0 hp. One bench run shows at least 690 W (0.926 mechanical hp) at the shaft, "
        "at least 18.5 % of the printed figure; the run ended before its peak."
    )


def test_where_only_the_rated_point_was_reached():
    shown = reading(meaning(Meaning.SHAFT_AT_RATED_CURRENT, 574.0, 6.0))
    metrics = (Metric.missing(HIGHEST, "no load line"), Metric(RATED, 574.0, 6.0))

    assert plain(appliance_sentence(view(*metrics), [shown])).endswith(
        "at the shaft, at rated current, 15.39 ± 0.32 % of the printed figure."
    )


def test_nothing_printed_and_nothing_measured():
    assert appliance_sentence(view(claims=())) == (
        "No power is printed. No published bench run shows its power yet."
    )
    assert "shows no power at the shaft" in appliance_sentence(
        view(Metric.missing(HIGHEST, "no torque")), []
    )


SEVEN = (
    Meaning.SHAFT_AT_RATED_CURRENT,
    Meaning.SHAFT_HIGHEST_STEADY,
    Meaning.SHAFT_HIGHEST_MOMENTARY,
    Meaning.BRAKE_READING_WHILE_SLOWING,
    Meaning.INPUT_AT_RATED_CURRENT,
    Meaning.INPUT_AT_HIGHEST_STEADY,
    Meaning.INPUT_ROTOR_HELD,
)


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ([1000] * 7, "None of the seven readings reaches it."),
        ([1000] * 6 + [None], "None of the six readings at hand reaches it; one was not measured."),
        (
            [1000] * 6 + [3800],
            "One of the seven readings reaches it, “Wall, rotor held (shaft: 0 W)”.",
        ),
        (
            [1000] * 5 + [3800] * 2,
            "Two of the seven readings reach it, “Wall, at the highest steady load” and “Wall, "
            "rotor held (shaft: 0 W)”.",
        ),
        ([1000] * 4 + [3800] * 3, "Three of the seven readings reach it."),
        ([3800] * 7, "All seven readings reach it."),
        (
            [1000] * 6 + [3722],
            "None of the seven readings reaches it; one comes within its uncertainty or may be "
            "higher.",
        ),
        ([1000] + [None] * 6, "The one reading at hand does not reach it; six were not measured."),
        ([3800] + [None] * 6, "The one reading at hand reaches it; six were not measured."),
        (
            [None] * 7,
            "None of the readings was measured, so nothing can be said about the claim.",
        ),
    ],
)
def test_how_many_readings_reach_the_claim(values, expected):
    plug = MeaningReading(Meaning.CIRCUIT_CONTINUOUS_LIMIT, 9999.0)
    shown = reading(*(meaning(m, v) for m, v in zip(SEVEN, values, strict=True)), plug)

    assert reach_sentence(shown) == expected


def test_the_current_it_would_need():
    current = Metric(MetricName.IMPLIED_CURRENT, 54.2, 0.8)
    shown = reading(meaning(Meaning.SHAFT_HIGHEST_STEADY, 838.0), current=current)

    assert plain(current_sentence(shown, plate=Plate(circuit_a=15.0))) == (
        "For 5.0 hp at the shaft, at the best efficiency measured, it would draw 54.2 ± 1.6 A; its "
        "plug is made for 15 A, continuously."
    )
    assert "is not stated" in current_sentence(shown, plate=Plate())
    assert "no efficiency was measured" in current_sentence(reading(), plate=Plate())


def test_how_long_the_rotor_could_help():
    time = Metric(MetricName.ROTOR_ENERGY_TIME, 0.092, 0.004)
    low = meaning(Meaning.SHAFT_HIGHEST_STEADY, 838.0)
    reached = meaning(Meaning.SHAFT_HIGHEST_STEADY, 4000.0)

    assert "0.092 ± 0.008 s" in plain(rotor_sentence(reading(low, time=time)))
    assert "the rotor's inertia is not stated" in rotor_sentence(reading(low))
    assert rotor_sentence(reading(reached, time=time)).startswith("The highest steady power reach")


def test_a_claim_has_three_sentences_that_end():
    found = claim_sentences(reading(meaning(SEVEN[0], 500.0)), plate=Plate())
    assert len(found) == 3
    assert all(sentence.endswith(".") and "!" not in sentence for sentence in found)
