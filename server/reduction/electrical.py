"""Speed and electrical channels of runs without a brake, averaged over short blocks."""

from dataclasses import dataclass, replace

import numpy as np

from server.errors import InvalidSignal
from server.model.bench import Plate, Rig
from server.model.recording import Recording
from server.model.words import Channel, Supply
from server.reduction.arrays import FloatArray, Floats
from server.reduction.blocks import Blocks, make_blocks
from server.reduction.first_order import Part, reading_parts
from server.reduction.leads import without_leads
from server.reduction.ordering import Ordered, order_rows
from server.reduction.points import input_power
from server.reduction.signals import Signals, choose_signals
from server.reduction.uncertainty.components import RigErrors


@dataclass(frozen=True, slots=True)
class Electrical:
    """`has_*`: the channel is in the recording; what is not counts as zero throughout. Blocks are
    as the motor's terminals see them; `lead_ohm` is what lies before them, 0 where not known."""

    ordered: Ordered
    signals: Signals
    blocks: Blocks
    is_dc: bool
    has_speed: bool
    has_torque: bool
    lead_ohm: float = 0.0

    @property
    def drive(self) -> Floats | None:
        """What tells that the motor is driven: current, else power."""
        return self.blocks.current if self.blocks.current is not None else self.blocks.power

    @property
    def input_w(self) -> Floats | None:
        return input_power(self.blocks, is_dc=self.is_dc)

    @property
    def channels_used(self) -> tuple[Channel, ...]:
        logged = {
            Channel.SPEED: self.has_speed,
            self.signals.torque_channel: self.has_torque,
            Channel.VOLTAGE: self.signals.voltage is not None,
            Channel.CURRENT: self.signals.current is not None,
            Channel.POWER: self.signals.power is not None,
            Channel.POWER_FACTOR: self.signals.power is None
            and self.signals.power_factor is not None,
        }
        return (Channel.TIME, *(channel for channel, is_there in logged.items() if is_there))


def read_electrical(
    recording: Recording, *, plate: Plate, rig: Rig, with_torque: bool, by_row: bool = False
) -> Electrical:
    """Order the rows and average them over blocks, whatever channels there are.

    Parameters
    ----------
    with_torque : torque or force matters to the figures: rows that lack it are left out.
    by_row : each row is a load by itself; nothing is bridged or averaged.

    Returns
    -------
    Electrical. Speed and torque count as zero throughout where they are not logged.

    Raises
    ------
    InvalidSignal: fewer than two usable rows, or no finite reading in any channel.
    """
    ordered = order_rows(recording.time_s, recording.channels)
    channels = dict(ordered.channels)
    if not any(np.isfinite(values).any() for values in channels.values()):
        raise InvalidSignal("no channel has a finite value")
    nothing: FloatArray = np.zeros(ordered.time_s.size, dtype=np.float32)
    has_speed = _is_logged(channels, Channel.SPEED)
    has_torque = with_torque and (
        _is_logged(channels, Channel.TORQUE)
        or (_is_logged(channels, Channel.FORCE) and rig.arm_m is not None)
    )
    if not has_speed:
        channels[Channel.SPEED] = nothing
    if not has_torque:
        channels[Channel.TORQUE] = nothing
    signals = choose_signals(ordered.time_s, channels, rig=rig, plate=plate, rows_are_points=by_row)
    is_dc = plate.supply is Supply.DC
    blocks = row_blocks(signals) if by_row else make_blocks(signals, mains_hz=plate.frequency_hz)
    return Electrical(
        ordered=ordered,
        signals=signals,
        blocks=without_leads(blocks, rig, is_dc=is_dc),
        is_dc=is_dc,
        has_speed=has_speed,
        has_torque=has_torque,
        lead_ohm=(rig.lead_resistance_ohm or 0.0) if blocks.current is not None else 0.0,
    )


def row_blocks(signals: Signals) -> Blocks:
    """One block for each row, however close their times are."""
    numbered = np.arange(signals.time_s.size, dtype=np.float64)
    blocks = make_blocks(replace(signals, time_s=numbered, interval_s=1.0))
    return replace(
        blocks, time_s=signals.time_s, start_s=signals.time_s, end_s=signals.time_s, block_s=1.0
    )


def input_parts(
    run: Electrical,
    errors: RigErrors,
    *,
    power_w: float,
    voltage_v: float | None,
    current_a: float | None,
) -> list[Part]:
    """What the instruments, and the leads, add to real input power at the motor.

    Model:  P = P_m - I^2 R, P_m of the meter or of V_m, I and PF
    """
    lost = run.lead_ohm * (current_a or 0.0) ** 2
    metered = power_w + lost
    parts: list[Part] = []
    if lost and current_a:
        parts += reading_parts(errors, Channel.CURRENT, current_a, -2 * lost / current_a)
        parts += [(errors.leads, -lost)] if errors.leads is not None else []
    if run.signals.power is not None:
        return parts + reading_parts(errors, Channel.POWER, metered)
    if voltage_v and run.is_dc:
        voltage_v += run.lead_ohm * (current_a or 0.0)
    for channel, value in ((Channel.VOLTAGE, voltage_v), (Channel.CURRENT, current_a)):
        if value:
            parts += reading_parts(errors, channel, value, metered / value)
    if not run.is_dc and voltage_v and current_a:
        apparent = voltage_v * current_a
        parts += reading_parts(errors, Channel.POWER_FACTOR, metered / apparent, apparent)
    return parts


def _is_logged(channels: dict[Channel, FloatArray], channel: Channel) -> bool:
    return channel in channels and bool(np.isfinite(channels[channel]).any())
