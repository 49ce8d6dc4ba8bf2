"""Worked examples of JCGM 106:2012, to the digits it prints; global risks by a second way."""

import math
from statistics import NormalDist

import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal

from server.reduction.uncertainty.conformity import decide, guard_band, probability_between


def test_breakdown_voltage_of_a_zener_diode() -> None:
    p = probability_between(-5.47, 0.05, high=-5.40)
    assert p == pytest.approx(0.919243, abs=1e-6)
    assert round(p, 2) == 0.92


def test_burst_pressure_of_a_container() -> None:
    p = probability_between(509.7, 8.6, low=490.0)
    assert p == pytest.approx(0.989010, abs=1e-6)
    assert round(p, 2) == 0.99
    assert decide(509.7, 8.6, claimed=490.0).probability_reached == pytest.approx(p)


def test_viscosity_of_motor_oil_between_two_limits() -> None:
    p = probability_between(13.6, 1.8, low=12.5, high=16.3)
    assert p == pytest.approx(0.662630, abs=1e-6)
    assert round(p, 2) == 0.66


def test_speed_trap_with_999_per_mille_probability() -> None:
    # u = 0.02 v, so the limit is guarded at v with v - w(v) = 100 km/h.
    v = 100 / (1 - guard_band(0.02, 0.999))
    assert v == pytest.approx(106.588, abs=5e-4)
    assert round(v) == 107
    assert probability_between(v, 0.02 * v, low=100.0) == pytest.approx(0.999)


@pytest.mark.parametrize(
    ("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
)
def test_guard_bands_of_one_sided_limits(p: float, z: float) -> None:
    assert guard_band(1.0, p) == pytest.approx(z, abs=6e-3)


def test_a_guard_band_of_two_u_leaves_at_most_23_per_mille() -> None:
    assert 1 - probability_between(102.0, 1.0, low=100.0) == pytest.approx(0.0228, abs=1e-4)


def test_an_exactly_known_value_reaches_or_does_not() -> None:
    assert probability_between(1800.0, 0.0, low=1800.0) == 1.0
    assert probability_between(1799.0, 0.0, low=1800.0) == 0.0
    assert math.isclose(probability_between(0.0, 1.0), 1.0)


def test_specific_risks_are_what_is_left_of_the_examples_probabilities() -> None:
    # 9.3.2: of what is accepted, the risk that it does not conform: diode 8 %, container 1 %.
    assert round(1 - probability_between(-5.47, 0.05, high=-5.40), 2) == 0.08
    assert round(1 - probability_between(509.7, 8.6, low=490.0), 2) == 0.01


@pytest.mark.parametrize("capability", [1.0, 2.5, 4.0])
@pytest.mark.parametrize("place", [-0.2, 0.0, 0.3, 0.5, 1.0])
def test_a_two_sided_interval_by_capability_index_and_place(
    capability: float, place: float
) -> None:
    # 7.5 and 7.6 (from memory): C_m = T / (4 u), y~ = (y - T_L) / T,
    # p = Phi(4 C_m (1 - y~)) - Phi(-4 C_m y~).
    low, high = 12.0, 20.0
    u = (high - low) / (4 * capability)
    p = probability_between(low + place * (high - low), u, low=low, high=high)
    phi = NormalDist().cdf
    expected = phi(4 * capability * (1 - place)) - phi(-4 * capability * place)
    assert p == pytest.approx(expected, abs=1e-12)


# 9.5, precision resistors (the set-up from memory): 1 500 ohm within 0.2 ohm, made with a standard
# deviation of 0.12 ohm, measured with 0.04 ohm, so C_m = 2.5.
MADE, SPREAD, METER = 1500.0, 0.12, 0.04
LIMITS = (1499.8, 1500.2)


def global_risks(guard_ohm: float) -> tuple[float, float]:
    """Consumer's and producer's: specific probabilities over all that the meter may show.

    Before a reading r the resistor is normal (MADE, SPREAD); after it normal with
    1 / u^2 = 1 / SPREAD^2 + 1 / METER^2 about the weighted mean (JCGM 106:2012, 6.3 and A.4,
    clauses from memory).
    """
    shown = math.hypot(SPREAD, METER)
    u = SPREAD * METER / shown

    def density(r: float, risk: str) -> float:
        mean = (MADE * METER**2 + r * SPREAD**2) / shown**2
        p = probability_between(mean, u, low=LIMITS[0], high=LIMITS[1])
        return NormalDist(MADE, shown).pdf(r) * (p if risk == "producer" else 1 - p)

    low, high = LIMITS[0] + guard_ohm, LIMITS[1] - guard_ohm
    far = 9 * shown
    consumer = quad(density, low, high, args=("consumer",))[0]
    below = quad(density, MADE - far, low, args=("producer",))[0]
    above = quad(density, high, MADE + far, args=("producer",))[0]
    return consumer, below + above


def true_and_shown(true: tuple[float, float], shown: tuple[float, float]) -> float:
    """Probability that a resistor is, and reads, within these limits, both jointly normal."""
    cov = [[SPREAD**2, SPREAD**2], [SPREAD**2, SPREAD**2 + METER**2]]
    joint = multivariate_normal([MADE, MADE], cov, abseps=1e-9, releps=1e-9)
    corners = [((t, s), sign_t * sign_s)
               for t, sign_t in ((true[1], 1), (true[0], -1))
               for s, sign_s in ((shown[1], 1), (shown[0], -1))]  # fmt: skip
    return float(sum(sign * joint.cdf(list(corner)) for corner, sign in corners))


@pytest.mark.parametrize("guard_ohm", [0.0, 0.04, 0.08, -0.04])
def test_global_risks_of_the_resistors(guard_ohm: float) -> None:
    accepted = (LIMITS[0] + guard_ohm, LIMITS[1] - guard_ohm)
    both = true_and_shown(LIMITS, accepted)
    passes = probability_between(MADE, math.hypot(SPREAD, METER), low=accepted[0], high=accepted[1])
    conforms = probability_between(MADE, SPREAD, low=LIMITS[0], high=LIMITS[1])
    consumer, producer = global_risks(guard_ohm)
    assert consumer == pytest.approx(passes - both, abs=1e-7)
    assert producer == pytest.approx(conforms - both, abs=1e-7)


def test_sizes_of_the_resistors_risks() -> None:
    # Digits by the joint distribution above, not those of the Guide. Nine in ten conform; 1.9 % are
    # bought that should not be, 3.7 % thrown away that need not be; a guard band of 2 u leaves
    # 0.05 %.
    assert probability_between(MADE, SPREAD, low=LIMITS[0], high=LIMITS[1]) == pytest.approx(
        0.904, abs=5e-4
    )
    assert global_risks(0.0) == pytest.approx((0.0189, 0.0372), abs=5e-5)
    assert global_risks(2 * METER)[0] == pytest.approx(0.0005, abs=5e-5)


def test_the_guide_s_own_digits_of_the_resistors_risks() -> None:
    # 9.5 (from memory, digits too; the text itself was not at hand): accepted within 1 499.82 and
    # 1 500.18 ohm, 1 % is the consumer's risk, 7 % the producer's.
    consumer, producer = global_risks(0.02)
    assert (round(consumer, 2), round(producer, 2)) == (0.01, 0.07)
    assert (consumer, producer) == pytest.approx((0.009878, 0.069027), abs=1e-6)
