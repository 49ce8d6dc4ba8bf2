"""What is said of pooled testers."""

from server.model.pooled import BenchResult
from server.reduction.pooling import pool
from server.wording.pooled import (
    agreement_sentence,
    component_sentence,
    flag_sentences,
    flag_words,
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
    assert said[0].startswith("Spread between testers, with what specimens add: sd ")
    assert said[1] == ""
    assert said[2].startswith("Spread between runs, with what readings add: sd ")
