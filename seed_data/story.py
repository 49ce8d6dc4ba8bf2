"""The runs of the scenario, in the order they were sent."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Told:
    """One run. `depth`: lowest speed as a part of the speed of highest power; for an induction
    motor 1.25 times the slip of highest power at 0.7, or that part of it where the peak is not
    bracketed.
    """

    piece: str
    setup: str
    tested_on: str
    about: str
    style: str = "dwells"  # dwells | sweep | grab
    n_dwells: int = 11
    hold_s: float = 6.0
    depth: float = 0.62
    grab_s: float = 0.35
    interval_s: float | None = None
    source_v: float | None = None
    supply_note: str | None = None
    end_early: str | None = None
    slip: tuple[str, float] | None = None
    cut_bytes: int = 0
    expects: tuple[str, ...] = ()
    is_sound: bool = True
    is_bracketed: bool = True


STORY = (
    Told("snorrel-a", "tar-eddy", "2026-03-09", "First look at the carton's peak figure.",
         n_dwells=13, hold_s=7),
    Told("tarnwell-a", "tar-eddy", "2026-03-10", "Same day, same brake as the Snorrel.",
         n_dwells=13, hold_s=7),
    Told("snorrel-a", "tar-eddy", "2026-03-11", "Slow sweep, to see whether dwells heat it.",
         style="sweep", hold_s=8, interval_s=0.02),
    Told("snorrel-b", "brack-drum", "2026-03-28", "A second piece on another brake.", n_dwells=12),
    Told("tarnwell-b", "pell-hysteresis", "2026-04-02",
         "Worn piece from a skip; the brushes sing. Expect less than the new one.", n_dwells=12,
         hold_s=8),
    Told("churnella-a", "pell-hysteresis", "2026-04-04", "Jug off, coupling on the flange."),
    Told("churnella-b", "pell-hysteresis", "2026-04-05",
         "Given up for this: held near standstill after the dwells until it let go, with smoke.",
         n_dwells=9, end_early="seizure", expects=("run_ended_early",)),
    Told("skrevin-a", "brack-drum", "2026-04-11",
         "The fuse went on the second-last load. Kept, since the free part is good.",
         n_dwells=10, depth=1.15, end_early="fuse", is_bracketed=False,
         expects=("run_ended_early", "peak_not_bracketed")),
    Told("skrevin-a", "brack-drum", "2026-04-11", "Again, on a 20 A slow fuse.", style="sweep",
         hold_s=6),
    Told("kerfmoor-a", "tar-generator", "2026-04-18", "Dwells down to well past the peak.",
         n_dwells=12, hold_s=5),
    Told("kerfmoor-a", "tar-generator", "2026-04-18",
         "From free running hard onto the brake, under four seconds to a crawl.", style="grab",
         n_dwells=10, depth=0.6, grab_s=3.4, interval_s=0.01),
    Told("kerfmoor-a", "brack-hysteresis", "2026-05-03", "Repeat at Brackferry.", n_dwells=12,
         hold_s=5),
    Told("breeze-a", "pell-hysteresis", "2026-05-05", "Blade off; motor alone.", hold_s=5,
         depth=0.7),
    Told("breeze-a", "brack-drum", "2026-05-21",
         "Cross-check, on a brake that is really too large for it.", hold_s=6, depth=0.7),
    Told("harrowmist-a", "brack-hysteresis", "2026-05-06", "Pump uncoupled.", hold_s=5, depth=0.7),
    Told("harrowmist-a", "tar-generator", "2026-05-12", "Agrees with Brackferry.", hold_s=4,
         depth=0.75),
    Told("meadow-a", "brack-drum", "2026-05-14", "New piece.", depth=0.75, n_dwells=12),
    Told("meadow-b", "pell-hysteresis", "2026-05-19",
         "The flange was set to newton-metres, the logger still said ounce-inch.",
         depth=0.75, slip=("torque", 0.00706155181422604), expects=("unit_slip",), is_sound=False),
    Told("meadow-b", "tar-generator", "2026-06-02", "The same piece, units looked at twice.",
         depth=0.7, n_dwells=12),
    Told("dryer-a", "pell-small", "2026-05-20", "Only the fan motor; the heater was not fed.",
         style="sweep", hold_s=6),
    Told("whetter-a", "brack-drum", "2026-05-22", "Stopped early: the drum began to chatter.",
         n_dwells=8, depth=0.6, is_bracketed=False, expects=("peak_not_bracketed",)),
    Told("whetter-a", "tar-generator", "2026-06-04", "Carried past the peak this time.",
         depth=0.7, hold_s=4),
    Told("edgehand-a", "brack-drum", "2026-06-05", "Low mains in the afternoon.", n_dwells=12,
         source_v=216.0, supply_note="village supply, 216 V all afternoon",
         expects=("supply_off_plate",)),
    Told("edgehand-a", "pell-hysteresis", "2026-06-16", "On a steady supply.", n_dwells=12,
         cut_bytes=14, expects=("last_line_cut",)),
    Told("mixer-a", "tar-eddy", "2026-06-18", "Gear taken off.", n_dwells=11),
    Told("stride-a", "pell-direct", "2026-06-20", "On the direct-current bench.",
         style="sweep", hold_s=8, depth=0.8, expects=("out_of_calibration",)),
)  # fmt: skip
