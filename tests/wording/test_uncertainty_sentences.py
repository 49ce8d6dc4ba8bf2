"""Which intervals were drawn: few figures are named, many are counted."""

from typing import Any

from server.wording.uncertainty_sentences import interval_drawn


def _figure(name: str, component: str, distribution: str, share: float) -> dict[str, Any]:
    return {
        "figure": name,
        "component": component,
        "distribution": distribution,
        "share": share,
        "difference_over_tolerance": 2.0,
    }


SPEED = _figure("free_speed", "speed: % of reading", "rectangular", 0.8)
SAG = _figure("supply_sag", "scatter of the readings", "normal", 0.9)


def test_few_figures_are_named_with_their_reason():
    said, to_do = interval_drawn({"figures": [SPEED, SAG]})

    assert said.startswith("These intervals were made by drawing errors (JCGM 101)")
    assert "“speed: % of reading”) outweighs the others in speed, free running" in said
    assert said.endswith("add up to no bell shape in supply sag.")
    assert to_do == "Nothing to do: the interval shown is the one that holds."


def test_many_figures_are_counted_by_reason():
    rated = {**SPEED, "figure": "speed_at_rated_current"}
    best = {**SPEED, "figure": "efficiency_max", "component": "force: % of reading"}
    said, to_do = interval_drawn({"figures": [SPEED, rated, best, SAG]})

    assert said.startswith("The intervals of 4 figures were made by drawing errors")
    assert "in 3 (“speed: % of reading”, “force: % of reading”);" in said
    assert said.endswith("add up to no bell shape in 1.")
    assert "the page of each figure" in to_do


def test_evidence_of_nothing_says_so():
    assert "the figures are not named" in interval_drawn({})[0]
