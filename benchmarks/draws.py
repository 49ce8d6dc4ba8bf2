"""10^5 draws of every error of a 40-point brake run, beside a batched fit of the same size.

The floor is what a Monte Carlo of a nonlinear three-parameter fit costs where all draws are fitted
together; a loop of `curve_fit` on some of the draws is the other end.
"""

import resource
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np

from benchmarks.table import Row, median_time

DRAWS, POINTS, STEPS = 100_000, 40, 6
LOOPED = 300
BLOCK = 10_000


def measure() -> list[Row]:
    """In a process of its own, so that the peak memory is that of the draws."""
    with ProcessPoolExecutor(max_workers=1, mp_context=get_context("spawn")) as pool:
        return pool.submit(_measure).result()


def _measure() -> list[Row]:
    """Ours (first order, 10^5 draws and every budget) over both floors, and the peak memory."""
    judge = _judge()
    ours = median_time(judge, 3)
    peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    floor, looped = median_time(_batched, 3), _looped()
    return [
        Row("10^5 draws, 40 points, all figures", ours, "s", 2.0, floor, "batched Gauss-Newton"),
        Row("the same by a loop of curve_fit", looped / ours, "×", 20.0, at_least=True),
        Row("peak memory of it", peak_mib, "MiB", 300.0),
    ]


def _judge():  # type: ignore[no-untyped-def]
    """The uncertainty of one simulated run, all ten blocks of draws."""
    from dataclasses import replace

    from server.model.bench import Instrument
    from server.model.results import ReductionOptions
    from server.model.words import Channel, MetricName
    from server.reduction.brake import work_through
    from server.reduction.ordering import order_rows
    from server.reduction.signals import choose_signals
    from server.reduction.uncertainty.brake_figures import brake_model
    from server.reduction.uncertainty.judge_figures import judge_figures
    from tests.reduction.simulate import Case, simulate, universal

    run = simulate(Case(universal(), n_dwells=POINTS, drag_share=0.04, seed=40))
    limits = {Channel.TORQUE: 0.005, Channel.SPEED: 0.001, Channel.CURRENT: 0.005}
    limits |= {Channel.VOLTAGE: 0.003, Channel.POWER: 0.006}
    rig = replace(
        run.rig,
        drag_uncertainty_rel=0.05,
        inertia_uncertainty_rel=0.05,
        instruments=tuple(Instrument(c, of_reading=a) for c, a in limits.items()),
    )
    ordered = order_rows(run.recording.time_s, run.recording.channels)
    signals = choose_signals(ordered.time_s, ordered.channels, rig=rig, plate=run.plate)
    worked = work_through(ordered, signals, plate=run.plate, rig=rig, options=ReductionOptions())
    values: dict[MetricName, float] = {
        n: m.value for n, m in worked.metrics.items() if m.value is not None
    }

    def judge() -> None:
        model = brake_model(worked, worked.metrics, plate=run.plate, rig=rig)
        judge_figures(model, values, seed=1, max_blocks=DRAWS // BLOCK, n_dig=4)

    return judge


def _batched() -> None:
    """y = a exp(-b x) + c on 40 points, every draw with its own noise, six steps for all."""
    rng = np.random.default_rng(1)
    x = np.linspace(0, 4, POINTS)
    truth = np.array([2.0, 0.9, 0.5])
    for _ in range(DRAWS // BLOCK):
        y = (
            truth[0] * np.exp(-truth[1] * x)
            + truth[2]
            + 0.01 * rng.standard_normal((BLOCK, POINTS))
        )
        p = np.tile(np.array([1.5, 0.7, 0.3]), (BLOCK, 1))
        for _ in range(STEPS):
            e = np.exp(-p[:, 1:2] * x)
            jacobian = np.stack([e, -p[:, :1] * x * e, np.ones_like(e)], axis=2)
            residual = y - p[:, :1] * e - p[:, 2:]
            normal = np.einsum("nki,nkj->nij", jacobian, jacobian)
            right = np.einsum("nki,nk->ni", jacobian, residual)
            p = p + np.linalg.solve(normal, right[:, :, None])[:, :, 0]


def _looped() -> float:
    """Seconds that 10^5 calls of `curve_fit` would take, by `LOOPED` of them."""
    from scipy.optimize import curve_fit

    rng = np.random.default_rng(1)
    x = np.linspace(0, 4, POINTS)
    y = 2.0 * np.exp(-0.9 * x) + 0.5 + 0.01 * rng.standard_normal((LOOPED, POINTS))
    start = time.perf_counter()
    for row in y:
        curve_fit(lambda t, a, b, c: a * np.exp(-b * t) + c, x, row, p0=(1.5, 0.7, 0.3))
    return (time.perf_counter() - start) * DRAWS / LOOPED
