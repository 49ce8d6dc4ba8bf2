"""A test while it goes on, in words: on the terminal and on the page that others watch."""

from server.model.live import LIVE_UNITS, LiveQuantity, LiveReadings
from server.wording.counts import count_of
from server.wording.figures import show_quantity

LABELS: dict[LiveQuantity, str] = {
    LiveQuantity.SHAFT_POWER: "Power at the brake",
    LiveQuantity.TORQUE: "Torque",
    LiveQuantity.SPEED: "Speed",
    LiveQuantity.INPUT_POWER: "Input power",
    LiveQuantity.CURRENT: "Current",
    LiveQuantity.VOLTAGE: "Voltage",
}
NOTHING = "–"
UNREVIEWED = "Unreviewed: readings as they come, not a result."
CAVEAT = (
    "As the sensors show it: the zero of the torque sensor, its lag, drag and inertia are taken "
    "into account when the run is over. While the rotor slows down, the brake shows more than the "
    "motor gives."
)
SAFETY = (
    "Before switching on: brake engaged, guard closed, emergency stop in reach, an over-speed "
    "limit set. A series motor that loses its load overspeeds until it bursts."
)


def live_label(quantity: LiveQuantity) -> str:
    return LABELS[quantity]


def show_live(value_si: float | None, quantity: LiveQuantity) -> str:
    return NOTHING if value_si is None else show_quantity(value_si, None, LIVE_UNITS[quantity])


def live_rows(readings: LiveReadings) -> list[tuple[LiveQuantity, str, str]]:
    """(what, now, highest so far) of all that was measured."""
    return [
        (q, show_live(readings.now.get(q), q), show_live(readings.highest.get(q), q))
        for q in LiveQuantity
        if q in readings.now or q in readings.highest
    ]


def show_seconds(seconds: float) -> str:
    """ "1:05" of a test's clock; hours only where there are some."""
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def lines_sentence(n_lines: int, n_unreadable: int) -> str:
    words = f"{count_of(n_lines, 'line')} written"
    if n_unreadable:
        words += f", {n_unreadable} of them can't be read (they are kept)"
    return f"{words}."
