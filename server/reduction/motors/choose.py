"""Which law describes a run: candidates by the plate's family, an information criterion decides."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.model.motor import ModelScore
from server.model.words import MotorFamily
from server.reduction.motors.fit import Fitted, fit_law
from server.reduction.motors.induction import induction_law, synchronous_speed
from server.reduction.motors.law import Law, Observed
from server.reduction.motors.observe import RunError
from server.reduction.motors.permanent_magnet import Behind, Rising, magnet_law
from server.reduction.motors.series import series_law
from server.reduction.motors.weigh import weigh_errors

SAME = 2.0  # criterion: of two this near the one with fewer constants is kept
POSSIBLE = 10.0  # criterion: one this much worse still has some support


@dataclass(frozen=True, slots=True)
class Choice:
    """The fit that is kept, and every candidate beside it, best of the rest first.

    `plain`: the same fit before the errors that all points share were taken in. `rivals`: fits of
    other laws of the family, as plain, that the readings do not rule out.
    """

    fitted: Fitted
    scores: tuple[ModelScore, ...]
    plain: Fitted
    rivals: tuple[Fitted, ...] = ()


def choose_law(
    observed: Observed, family: MotorFamily, errors: Sequence[RunError] = ()
) -> Choice | str:
    """Fit every candidate and keep the plate's family's with the least AICc.

    Model:  AICc = -2 ln L + 2 p + 2 p (p + 1) / (n - p - 1), of two within 2 the one with fewer
            constants

    Parameters
    ----------
    observed : see `fit_law`. errors : shared by all points. family : as on the plate; a law of
        another family is fitted beside it as a check and never kept.

    Returns
    -------
    Choice, or the reason: "the motor's family is not known", "no synchronous speed fits", "no
    model's fit settled".
    """
    laws = candidate_laws(observed, family)
    if isinstance(laws, str):
        return laws
    fits = [f for f in (_try(law, observed) for law in laws) if f is not None]
    own = [f for f in fits if f.law.family is family and f.solution.is_converged]
    if not own:
        return "no model's fit settled"
    least = min(f.criterion for f in own)
    near = [f for f in own if f.criterion <= least + SAME]
    kept = min(near, key=lambda f: (len(f.law.constants), f.criterion))
    ordered = [kept, *sorted((f for f in fits if f is not kept), key=lambda f: f.criterion)]
    settled = weigh_errors(kept, errors)
    if not _is_finite(settled):
        return "no model's fit settled"
    return Choice(
        settled,
        tuple(
            ModelScore(f.law.name, f.law.family, f.criterion - kept.criterion, len(f.law.constants))
            for f in ordered
        ),
        kept,
        tuple(f for f in own if f is not kept and f.criterion <= least + POSSIBLE),
    )


def candidate_laws(observed: Observed, family: MotorFamily) -> list[Law] | str:
    """The laws to fit; the last ones may be of another family."""
    stiff = Behind.STIFF_SUPPLY if observed.is_ac else Behind.NOTHING
    if family is MotorFamily.SERIES:
        return [
            series_law(observed),
            series_law(observed, has_iron=True),
            series_law(observed, saturates=False),
            magnet_law(observed, behind=stiff),
        ]
    if family is MotorFamily.PERMANENT_MAGNET:
        laws = [magnet_law(observed, behind=stiff, rising=rising) for rising in Rising]
        if observed.is_ac:
            laws.append(magnet_law(observed, behind=Behind.RECTIFIER))
        return [*laws, series_law(observed)]
    if family is MotorFamily.INDUCTION:
        return _induction_laws(observed)
    return "the motor's family is not known"


def _induction_laws(observed: Observed) -> list[Law] | str:
    if not observed.is_ac or observed.frequency_hz is None:
        return "the plate gives no mains frequency, which an induction motor's model needs"
    sync = synchronous_speed(observed.frequency_hz, float(observed.state.speed.max()))
    if sync is None:
        return "no synchronous speed lies above the speeds of the run"
    return [induction_law(observed, two_fields=two, sync_rad_s=sync) for two in (True, False)]


def _try(law: Law, observed: Observed) -> Fitted | None:
    """The fit, or None where it has no finite constants."""
    try:
        fitted = fit_law(law, observed)
    except np.linalg.LinAlgError:
        return None
    return fitted if _is_finite(fitted) else None


def _is_finite(fitted: Fitted) -> bool:
    figures = (fitted.theta, fitted.covariance, fitted.residual, fitted.criterion)
    return all(bool(np.all(np.isfinite(f))) for f in figures)
