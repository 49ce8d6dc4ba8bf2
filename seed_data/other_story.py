"""The scenario's runs of other kinds than the logged brake run, in the order they were sent."""

from dataclasses import dataclass


@dataclass(frozen=True)
class ToldOther:
    """One run. `added`: kg m² fixed on the shaft, as stated; it is off by `added_error` of it.

    `load`: torque of the appliance's fan at the speed of highest power, as a part of the motor's
    there, for each state in use, and how long the state lasts.
    """

    kind: str
    piece: str
    stand: str
    tested_on: str
    about: str
    added: float = 0.0
    added_error: float = 0.0
    load: tuple[tuple[float, float], ...] = ()
    n_loads: int = 10
    source: str = "logger"
    source_v: float | None = None
    supply_note: str | None = None
    expects: tuple[str, ...] = ()


OTHERS = (
    ToldOther("run-down", "kerfmoor-a", "tar-coast", "2026-06-22",
              "Twice: the rotor alone, then with a steel ring on it. What the saw stores.",
              added=9e-4, added_error=0.003),
    ToldOther("run-down", "whetter-a", "brack-coast", "2026-06-23",
              "Wheels off, nothing on the shaft: what its bearings and fan take."),
    ToldOther("run-up", "meadow-b", "tar-wheel", "2026-06-24",
              "No brake: what it does to a flywheel says the same.", added=6e-3,
              added_error=-0.003),
    ToldOther("in use", "snorrel-b", "brack-meter", "2026-06-25",
              "In the vacuum, tank empty: nozzle open, on carpet, blocked by hand.",
              load=((0.40, 12.0), (0.32, 30.0), (0.22, 12.0))),
    ToldOther("locked rotor", "skrevin-a", "brack-drum", "2026-06-26",
              "Drum pinned, two seconds, then left to cool for an hour."),
    ToldOther("hand readings", "meadow-a", "pell-hand", "2026-06-27",
              "No logger that day: each load noted twice, up and down.", source="by hand"),
    ToldOther("hand readings", "mixer-a", "brack-video", "2026-06-28",
              "Displays filmed side by side; the time is the video's, at 25 pictures a second.",
              n_loads=12, source="video"),
)  # fmt: skip
