"""Pooled results in the contract's JSON, and the sentences that say who stands out."""

from collections.abc import Sequence

from server.model.measured import JsonValue
from server.model.pooled import Level, PerTester, PooledFigure, Pooling, VarianceComponent
from server.wording.figures import value_with_uncertainty
from server.wording.numbers import COVERAGE_FACTOR, NB_SPACE, fixed, significant, with_unit

Json = dict[str, JsonValue]

DISAGREEMENT = 0.05  # chance of such a spread among testers who agree; 5 % is usual
MOST_TOLD = 0.999  # beyond that a simulation's own chance shows
_ADDED_BY = {
    Level.TESTER: "testers",
    Level.SPECIMEN: "specimens",
    Level.RUN: "runs",
    Level.READING: "readings",
}
METHOD = "random effects by Paule and Mandel, interval by Hartung and Knapp"


def pooling_to_json(pooling: Pooling) -> Json:
    """The one JSON object of `benchledger pool --json`; nothing here rounds."""
    pooled = pooling.pooled
    return {
        "n_testers": pooling.n_testers,
        "n_results": pooling.n_results,
        "pooled": {
            "value": pooled.value,
            "standard_uncertainty": pooled.standard_uncertainty,
            "interval": {"low": pooled.low, "high": pooled.high, "coverage": pooled.coverage},
            "degrees_of_freedom": pooled.degrees_of_freedom,
        },
        "between_tester_sd": pooling.between_tester_sd,
        "q": pooling.q,
        "q_probability": pooling.q_probability,
        "i_squared": pooling.i_squared,
        "birge_ratio": pooling.birge_ratio,
        "repeatability_sd": pooling.repeatability_sd,
        "reproducibility_sd": pooling.reproducibility_sd,
        "consistency": [_tester_to_json(t) for t in pooling.testers],
        "critical": {"h": pooling.critical_h, "k": pooling.critical_k},
        "components": [_component_to_json(c) for c in pooling.components],
        "findings": [*flag_sentences(pooling)],
        "reasons": dict(pooling.reasons),
        "method": METHOD,
    }


def _tester_to_json(t: PerTester) -> Json:
    return {
        "tester": t.tester,
        "n": t.n,
        "value": t.value,
        "standard_uncertainty": t.standard_uncertainty,
        "standard_deviation": t.sd,
        "h": t.h,
        "k": t.k,
        "critical_k": t.critical_k,
        "zeta": t.zeta,
        "flagged": t.is_flagged,
    }


def _component_to_json(c: VarianceComponent) -> Json:
    return {
        "level": c.level.value,
        "sd": c.sd,
        "degrees_of_freedom": c.degrees_of_freedom,
        "includes": [level.value for level in c.includes],
        "reason": c.reason,
    }


def flag_sentences(pooling: Pooling) -> tuple[str, ...]:
    """One sentence for each reason why a tester stands out, in the order of the testers."""
    sentences: list[str] = []
    if pooling.n_testers == 2:
        return _two_apart(pooling)
    for t in pooling.testers:
        if t.is_h_flagged and t.h is not None and pooling.critical_h is not None:
            side = "above" if t.h > 0 else "below"
            sentences.append(
                f"{t.tester} lies further {side} the mean of all testers than one of 200 would by"
                f" chance (h {fixed(t.h, 2)}, critical {fixed(pooling.critical_h, 2)})."
            )
        if t.is_zeta_flagged and t.zeta is not None:
            sentences.append(
                f"{t.tester} differs from the others by {fixed(abs(t.zeta), 1)} standard"
                f" uncertainties of the difference."
            )
        sentences += _scatters(t)
    return tuple(sentences)


def _two_apart(pooling: Pooling) -> tuple[str, ...]:
    """Of two each is as far from the other: said once."""
    first, second = pooling.testers
    sentences = []
    if first.is_zeta_flagged and first.zeta is not None:
        sentences.append(
            f"{first.tester} and {second.tester} differ by {fixed(abs(first.zeta), 1)} standard"
            " uncertainties of the difference."
        )
    return (*sentences, *_scatters(first), *_scatters(second))


def _scatters(t: PerTester) -> tuple[str, ...]:
    if not t.is_k_flagged or t.k is None or t.critical_k is None:
        return ()
    return (
        f"{t.tester}'s own results scatter more than those of one tester in 200 would by"
        f" chance (k {fixed(t.k, 2)}, critical {fixed(t.critical_k, 2)}).",
    )


def flags_over_figures(figures: Sequence[tuple[str, Pooling]]) -> tuple[str, ...]:
    """Who stands out in which of several figures, each given with its label.

    Of two testers, who differ in many figures or in none, it is said in one sentence.
    """
    apart: dict[tuple[str, str], list[str]] = {}
    others: list[str] = []
    for label, pooling in figures:
        sentences = flag_sentences(pooling)
        if pooling.n_testers == 2 and pooling.testers[0].is_zeta_flagged:
            first, second = pooling.testers
            distance = fixed(abs(first.zeta or 0.0), 1)
            pair = apart.setdefault((first.tester, second.tester), [])
            pair.append(f"{_low(label)} ({distance})")
            sentences = sentences[1:]
        others += [f"{label}: {sentence}" for sentence in sentences]
    pairs = [
        f"{first} and {second} differ by more than their uncertainties explain, in brackets how"
        f" many standard uncertainties of the difference: {'; '.join(labels)}."
        for (first, second), labels in apart.items()
    ]
    return (*pairs, *others)


def listed(words: Sequence[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)


def _low(label: str) -> str:
    return label[:1].lower() + label[1:]


def flag_words(t: PerTester) -> str:
    """Why a tester stands out, in a word or two; empty where it does not."""
    flags = (
        ("stands apart", t.is_h_flagged or t.is_zeta_flagged),
        ("scatters", t.is_k_flagged),
    )
    return " and ".join(words for words, applies in flags if applies)


def show_pooled(figure: PooledFigure, unit: str = "", scale: float = 1.0) -> str:
    """The pooled figure with the half-width of its interval, in a unit `scale` times as large.

    For few testers that is far more than twice the standard uncertainty.
    """
    u = figure.standard_uncertainty
    if figure.low is not None and figure.high is not None:
        u = (figure.high - figure.low) / 2 / COVERAGE_FACTOR
    return value_with_uncertainty(figure.value / scale, None if u is None else u / scale, unit)


def agreement_sentence(pooling: Pooling) -> str:
    """How well the testers agree, in one sentence."""
    n = pooling.n_testers
    if n == 1:
        runs = "one run" if pooling.testers[0].n == 1 else f"{pooling.testers[0].n} runs"
        return f"One tester, {runs}: nothing to pool yet."
    few = " Two testers tell little: hence the wide interval." if n == 2 else ""
    if pooling.q_probability is None or pooling.i_squared is None:
        return f"{n} testers; whether they agree can't be told: {pooling.reasons['q']}.{few}"
    if pooling.q_probability > DISAGREEMENT:
        return f"{n} testers agree within their uncertainties, as far as these tell.{few}"
    share = fixed(100 * pooling.i_squared, 0)
    return (
        f"{n} testers disagree by more than their uncertainties explain:"
        f" {share}{NB_SPACE}% of the spread is between testers.{few}"
    )


def versions_sentence(versions: Sequence[str]) -> str:
    """That figures of several versions of the method stand together; empty for one."""
    if len(versions) < 2:
        return ""
    return (
        f"These figures were made by {len(versions)} versions of the method"
        f" ({listed(list(versions))}): they are pooled as they stand until the older ones are made"
        " anew."
    )


def agreement_words(pooling: Pooling) -> str:
    """Whether the testers agree, for a table's cell."""
    if pooling.n_testers == 1:
        return "one run alone" if pooling.n_results == 1 else "one tester"
    if pooling.q_probability is None:
        return "can’t be told"
    return "agree" if pooling.q_probability > DISAGREEMENT else "disagree"


def show_chance(probability: float) -> str:
    """A probability from draws: per cent, without a false nought or hundred."""
    if probability > MOST_TOLD:
        return f"over{NB_SPACE}99.9{NB_SPACE}%"
    if probability < 1 - MOST_TOLD:
        return f"under{NB_SPACE}0.1{NB_SPACE}%"
    digits = 0 if 0.01 <= probability <= 0.99 else 1
    return f"{fixed(100 * probability, digits)}{NB_SPACE}%"


def component_sentence(component: VarianceComponent, unit: str = "", scale: float = 1.0) -> str:
    """What one level adds, and what else is in it; empty where it can't be told.

    In a unit `scale` times as large.
    """
    if component.sd is None:
        return ""
    what = listed([_ADDED_BY[level] for level in component.includes])
    words = f", with what {what} add" if what else ""
    if component.sd == 0:
        return (
            f"Spread {component.level.value}{words}: none beyond what the narrower levels explain"
        )
    sd = with_unit(significant(component.sd / scale), unit)
    return f"Spread {component.level.value}{words}: standard deviation {sd}"
