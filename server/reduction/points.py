"""Averages over dwells and over the load bins of sweeps."""

from dataclasses import dataclass

import numpy as np

from server.model.results import LoadPoint
from server.model.words import SegmentKind
from server.reduction.arrays import Floats
from server.reduction.blocks import Blocks
from server.reduction.load import SWEEP_CHUNK, Stretch
from server.reduction.scatter import mean_and_u
from server.reduction.torque import Shaft

HASTE = 4.0  # times faster than the run's usual bin
MIN_SLOW_BINS = 8
# A dwell's ends: at most this share of it goes on each side, of dwells with so many blocks.
MOST_CUT = 0.25
LEAST_FOR_CUT = 12
OFF_IN_SCATTER = 3.0
SAME_LOAD = 0.03  # of the run's load range


@dataclass(frozen=True, slots=True)
class Group:
    """A dwell, or one load bin of a sweep: blocks first to end (exclusive)."""

    is_dwell: bool
    first: int
    end: int


def group_blocks(stretches: list[Stretch], z: Floats, time_s: Floats) -> list[Group]:
    """Dwells as they are; a sweep is cut wherever the load has moved by one bin.

    Blocks at a dwell's ends where the load was still on its way are left out of it.

    A bin is `SWEEP_CHUNK` of the run's load range, so a sweep up and down gives two points a bin.
    """
    groups: list[Group] = []
    for stretch in stretches:
        if stretch.kind in (SegmentKind.STEADY_DWELL, SegmentKind.FREE_RUNNING):
            groups.append(_settled(Group(True, stretch.first, stretch.end), z))
        elif stretch.kind is SegmentKind.SWEEP:
            groups += _bins(stretch, z)
    return _without_hasty(groups, z, time_s)


def _settled(group: Group, z: Floats) -> Group:
    """A dwell without the blocks at its ends that stand off its median beyond its own scatter."""
    part = z[group.first : group.end]
    most = int(MOST_CUT * part.size)
    if part.size < LEAST_FOR_CUT:
        return group
    middle = float(np.median(part))
    away = np.abs(part - middle)
    is_off = away > OFF_IN_SCATTER * 1.4826 * float(np.median(away))
    head = int(np.argmin(is_off[: most + 1])) if not is_off[: most + 1].all() else most
    tail = is_off[::-1][: most + 1]
    cut = int(np.argmin(tail)) if not tail.all() else most
    return Group(True, group.first + head, group.end - cut)


def _without_hasty(groups: list[Group], z: Floats, time_s: Floats) -> list[Group]:
    """Leave out bins the load rushed through, where slower ones cover the same loads.

    A brake clamped in a second between slow passes says little beside them, and its inertia
    term is as large as the torque.
    """
    bins = [g for g in groups if not g.is_dwell]
    if len(bins) < 2 * MIN_SLOW_BINS:
        return groups
    spacing = float(np.median(np.diff(time_s)))
    length = np.array([time_s[g.end - 1] - time_s[g.first] + spacing for g in bins])
    order = np.argsort(length)
    half = np.searchsorted(np.cumsum(length[order]), length.sum() / 2)
    usual = float(length[order][half])
    middle = np.array([z[(g.first + g.end) // 2] for g in bins])
    is_slow = length * HASTE >= usual
    if int(np.count_nonzero(is_slow)) < MIN_SLOW_BINS:
        return groups
    nearest = np.min(np.abs(middle[:, None] - middle[None, is_slow]), axis=1)
    hasty = {g.first for g, is_near in zip(bins, nearest <= SAME_LOAD, strict=True) if is_near}
    hasty -= {g.first for g, slow in zip(bins, is_slow, strict=True) if slow}
    return [g for g in groups if g.is_dwell or g.first not in hasty]


def average(group: Group, blocks: Blocks, shaft: Shaft, *, is_dc: bool) -> LoadPoint:
    """Average one group of blocks.

    Model:  T, w, P_in: mean;  V, I: sqrt(mean(x^2));  shaft power: mean(T w);
            PF = P_in / (V I);  efficiency = mean(T w) / mean(P_in)

    Returns
    -------
    LoadPoint; `u_*` from scatter with an effective number of samples (see scatter.py).
    """
    rows = slice(group.first, group.end)
    weight = blocks.n_rows[rows].astype(np.float64)
    torque, u_torque, _ = mean_and_u(shaft.torque[rows], weight)
    speed, u_speed, _ = mean_and_u(shaft.speed[rows], weight)
    power, u_power, n_effective = mean_and_u(shaft.power[rows], weight)
    if not group.is_dwell:
        # One window's acceleration serves neighbouring blocks: its error does not average out.
        u_inertia = float(np.mean(shaft.u_inertia_torque[rows]))
        u_torque, u_power = (
            float(np.hypot(u_torque, u_inertia)),
            float(np.hypot(u_power, u_inertia * speed)),
        )
    voltage = _rms(blocks.voltage, rows, weight)
    current = _rms(blocks.current, rows, weight)
    u_current = None
    if current is not None and blocks.current is not None:
        u_current = mean_and_u(blocks.current[rows], weight)[1]
    input_w, u_input = None, None
    source = input_power(blocks, is_dc=is_dc)
    if source is not None and np.isfinite(source[rows]).any():
        input_w, u_input, _ = mean_and_u(source[rows], weight)
    apparent = _apparent(blocks, rows, weight, voltage, current)
    efficiency, u_efficiency = _ratio(power, u_power, input_w, u_input)
    return LoadPoint(
        start_s=float(blocks.start_s[group.first]),
        end_s=float(blocks.end_s[group.end - 1]),
        is_dwell=group.is_dwell,
        n_samples=int(weight.sum()),
        n_effective=n_effective,
        torque_nm=torque,
        speed_rad_s=speed,
        shaft_power_w=power,
        voltage_v=voltage,
        current_a=current,
        input_power_w=input_w,
        apparent_power_va=apparent,
        power_factor=input_w / apparent if input_w is not None and apparent else None,
        efficiency=efficiency,
        u_torque_nm=u_torque,
        u_speed_rad_s=u_speed,
        u_shaft_power_w=u_power,
        u_current_a=u_current,
        u_input_power_w=u_input,
        u_efficiency=u_efficiency,
        first_row=int(blocks.first_row[group.first]),
        last_row=int(blocks.first_row[group.end - 1] + blocks.n_rows[group.end - 1] - 1),
    )


def input_power(blocks: Blocks, *, is_dc: bool) -> Floats | None:
    """Real input power per block: the meter's, else V x I x PF, else V x I on a DC supply."""
    if blocks.power is not None:
        return blocks.power
    if is_dc and blocks.voltage is not None and blocks.current is not None:
        return blocks.voltage * blocks.current
    return None


def _bins(stretch: Stretch, z: Floats) -> list[Group]:
    part = z[stretch.first : stretch.end]
    reach = min(9, max(1, part.size // 20) | 1)
    smooth = np.convolve(np.pad(part, reach // 2, mode="edge"), np.ones(reach) / reach, "valid")
    groups: list[Group] = []
    start = 0
    for i in range(1, part.size + 1):
        if i == part.size or abs(smooth[i] - smooth[start]) > SWEEP_CHUNK:
            groups.append(Group(False, stretch.first + start, stretch.first + i))
            start = i
    return groups


def _rms(values: Floats | None, rows: slice, weight: Floats) -> float | None:
    if values is None:
        return None
    finite = np.isfinite(values[rows])
    if not finite.any():
        return None
    return float(np.sqrt(np.average(values[rows][finite] ** 2, weights=weight[finite])))


def _apparent(
    blocks: Blocks, rows: slice, weight: Floats, voltage: float | None, current: float | None
) -> float | None:
    if voltage is not None and current is not None:
        return voltage * current
    if blocks.apparent is not None and np.isfinite(blocks.apparent[rows]).any():
        return mean_and_u(blocks.apparent[rows], weight)[0]
    return None


def _ratio(
    power: float, u_power: float, input_w: float | None, u_input: float | None
) -> tuple[float | None, float | None]:
    if input_w is None or input_w <= 0:
        return None, None
    value = power / input_w
    return value, float(np.hypot(u_power, value * (u_input or 0.0)) / input_w)
