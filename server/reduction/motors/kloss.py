"""The torque of an induction motor over slip, from its pull-out point alone."""

import numpy as np

from server.reduction.arrays import Floats


def kloss_torque(
    slip: Floats, *, pull_out_nm: float, pull_out_slip: float, stator_ratio: float = 0.0
) -> Floats:
    """Torque over slip by Kloss's formula.

    Model:  T = T_m (2 + 2 a s_m) / (s / s_m + s_m / s + 2 a s_m),  a = R_th / R2'

    Parameters
    ----------
    slip : (n,) above zero. pull_out_nm, pull_out_slip : T_m (N m) and s_m.
    stator_ratio : a; zero is the simple form, which leaves the stator's resistance out.

    Returns
    -------
    (n,) torque in the air gap, N m.

    Notes
    -----
    With a of the circuit's equivalent source this equals the circuit of one revolving field; the
    simple form is 21 % low at s = 0.02 on a motor whose stator resistance is twice the rotor's.

    Sources
    -------
    M. Kloss, 1901 (cited from memory). Checked against the equivalent circuit and two textbook
    motors (tests/outside/test_motor_models.py).
    """
    extra = 2 * stator_ratio * pull_out_slip
    return np.asarray(
        pull_out_nm * (2 + extra) / (slip / pull_out_slip + pull_out_slip / slip + extra)
    )


def pull_out(
    *, voltage_v: float, sync_rad_s: float, r_th: float, x_th: float, r2: float, x2: float
) -> tuple[float, float]:
    """Pull-out torque (N m) and slip of one revolving field, of one phase with `voltage_v`.

    Model:  s_m = R2 / sqrt(R_th^2 + (X_th + X2)^2)
            T_m = V_th^2 / (2 w_s (R_th + sqrt(R_th^2 + (X_th + X2)^2)))

    Parameters
    ----------
    voltage_v, r_th, x_th : the source as the rotor sees it (Thevenin). r2, x2 : the rotor, ohm.

    Returns
    -------
    (torque of one phase, slip).
    """
    reach = float(np.hypot(r_th, x_th + x2))
    return voltage_v**2 / (2 * sync_rad_s * (r_th + reach)), r2 / reach


def seen_by_the_rotor(
    *, voltage_v: float, r1: float, x1: float, xm: float
) -> tuple[float, float, float]:
    """The source behind the stator and the magnetising branch: V_th (V), R_th, X_th (ohm)."""
    stator = complex(r1, x1)
    whole = stator + 1j * xm
    inside = 1j * xm * stator / whole
    return abs(voltage_v * 1j * xm / whole), inside.real, inside.imag
