"""What is said of pooled testers."""

from server.model.pooled import BenchResult, Level, VarianceComponent
from server.reduction.pooling import pool
from server.wording.pooled import (
    agreement_sentence,
    agreement_words,
    component_sentence,
    flag_sentences,
    flag_words,
    flags_over_figures,
    show_chance,
    show_pooled,
)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u2212", "-")


def stated(*pairs: tuple[float, float]):
    return pool([BenchResult(f"Rig {i}", x, u) for i, (x, u) in enumerate(pairs, start=1)])


def test_agreement_in_one_sentence() -> None:
    one = stated((640.0, 7.0))
    few = pool([BenchResult("a", 1.0), BenchResult("a", 2.0), BenchResult("a", 3.0)])
    bare = pool([BenchResult("a", 1.0), BenchResult("b", 2.0), BenchResult("c", 3.0)])
    agreeing = stated((640.0, 7.0), (645.0, 7.0), (650.0, 7.0))
    apart = stated((640.0, 7.0), (700.0, 7.0))
    assert agreement_sentence(one) == "One tester, one run: nothing to pool yet."
    assert agreement_sentence(few) == "One tester, 3 runs: nothing to pool yet."
    assert "can't be told: neither standard uncertainties nor" in agreement_sentence(bare)
    assert "3 testers agree within their uncertainties" in agreement_sentence(agreeing)
    assert plain(agreement_sentence(apart)) == (
        "2 testers disagree by more than their uncertainties explain: 97 % of the spread is"
        " between testers. Two testers tell little: hence the wide interval."
    )


def test_who_stands_out_and_why() -> None:
    three = stated((640.0, 7.0), (645.0, 7.0), (720.0, 7.0))
    assert flag_sentences(three) == (
        "Rig 3 differs from the others by 9.0 standard uncertainties of the difference.",
    )
    assert [flag_words(t) for t in three.testers] == ["", "", "stands apart"]
    calm = [(x, x + 1) for x in (100.0, 100.5, 99.0, 99.8, 100.2)]
    cells = [*calm, (80.0, 120.0)]
    wild = pool([BenchResult(f"Rig {i}", x) for i, pair in enumerate(cells) for x in pair])
    (sentence,) = flag_sentences(wild)
    assert sentence.startswith("Rig 5's own results scatter more than those of one tester in 200")
    low = pool(
        [BenchResult(f"Rig {i}", x) for i, pair in enumerate([*calm, (70, 71)]) for x in pair]
    )
    assert "further below the mean of all testers" in flag_sentences(low)[0]


def test_the_pooled_figure_shows_its_interval() -> None:
    assert plain(show_pooled(stated((640.0, 7.0), (655.0, 5.0)).pooled, "W")) == "650 ± 90 W"
    assert plain(show_pooled(stated((640.0, 7.0)).pooled, "kW", 1000.0)) == "0.640 ± 0.014 kW"


def test_components_name_what_is_in_them() -> None:
    found = pool([BenchResult(t, x) for t, xs in (("a", (1, 2)), ("b", (5, 7))) for x in xs])
    said = [component_sentence(c) for c in found.components]
    assert said[0].startswith(
        "Spread between testers, with what specimens add: standard deviation "
    )
    assert said[1] == ""
    assert said[2].startswith("Spread between runs, with what readings add: standard deviation ")


def test_two_testers_who_differ_in_several_figures_are_named_once() -> None:
    apart, agreeing = stated((640.0, 7.0), (700.0, 7.0)), stated((640.0, 7.0), (641.0, 7.0))
    three = stated((640.0, 7.0), (645.0, 7.0), (720.0, 7.0))
    figures = [("Power", apart), ("Speed", agreeing), ("Torque", apart)]
    assert flags_over_figures(figures) == (
        "Rig 1 and Rig 2 differ by more than their uncertainties explain, in brackets how many"
        " standard uncertainties of the difference: power (6.1); torque (6.1).",
    )
    assert flags_over_figures([("Power", three)]) == (f"Power: {flag_sentences(three)[0]}",)
    assert flags_over_figures([("Speed", agreeing)]) == ()


def test_a_table_says_in_a_word_whether_testers_agree() -> None:
    bare = pool([BenchResult("a", 1.0), BenchResult("b", 2.0)])
    several = pool([BenchResult("a", 1.0), BenchResult("a", 2.0)])
    assert agreement_words(stated((640.0, 7.0))) == "one run alone"
    assert agreement_words(several) == "one tester"
    assert agreement_words(bare) == "can’t be told"
    assert agreement_words(stated((640.0, 7.0), (641.0, 7.0))) == "agree"
    assert agreement_words(stated((640.0, 7.0), (700.0, 7.0))) == "disagree"


def test_a_chance_never_shows_a_false_nought_or_hundred() -> None:
    shown = {p: plain(show_chance(p)) for p in (0.0, 0.004, 0.5, 0.996, 1.0)}
    assert shown == {
        0.0: "under 0.1 %", 0.004: "0.4 %", 0.5: "50 %", 0.996: "99.6 %", 1.0: "over 99.9 %",
    }  # fmt: skip


def test_a_component_is_shown_in_the_unit_of_its_figure() -> None:
    (tester, *_) = stated((0.64, 0.007), (0.70, 0.007)).components
    assert plain(component_sentence(tester, "%", 0.01)) == (
        "Spread between testers, with what specimens, runs and readings add: "
        "standard deviation 4.24 %"
    )
    none = VarianceComponent(Level.RUN, 0.0)
    assert component_sentence(none, "W") == (
        "Spread between runs: none beyond what the narrower levels explain"
    )
