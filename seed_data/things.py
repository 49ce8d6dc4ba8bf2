"""The appliances of the scenario and the pieces that were tested. Every name is made up."""

from dataclasses import dataclass, replace

from seed_data.motors import Line, Losses, Motor, SeriesMotor, warmed
from seed_data.per_unit import induction, magnet, series

US = Line(120.0, 60.0, 0.25, 0.05)
EU = Line(230.0, 50.0, 0.35, 0.06)
DIRECT = Line(120.0, 0.0, 0.2)

PEAK_NOTE = (
    "* Peak hp describes a motor out of its housing at the top of a laboratory test. "
    "Expect less from a household outlet."
)
DEVELOPED_NOTE = (
    "† Most the armature and its flywheel effect give for a moment; the motor sustains less."
)


@dataclass(frozen=True)
class Thing:
    """A model as sold. `rated_a` and `circuit` stand on the plate; `claims` are printed."""

    key: str
    maker: str
    model: str
    category: str
    motor: Motor
    line: Line
    rated_a: float
    rotor_inertia: float
    circuit: str
    claims: tuple[dict, ...] = ()
    model_number: str | None = None
    market: str = "120 V, 60 Hz"
    produced: str | None = None
    plate: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Piece:
    """One specimen. `change` turns the model's motor into this piece's motor."""

    key: str
    thing: str
    label: str
    condition: str
    hours: str | None = None
    obtained: str | None = None
    brushes_run_in: bool | None = None
    resistance: float = 1.0
    friction: float = 1.0
    brush_drop_v: float | None = None

    def motor(self, model: Motor) -> Motor:
        motor = warmed(model, self.resistance)
        losses = motor.losses
        motor = replace(
            motor,
            losses=Losses(
                losses.coulomb_nm * self.friction, losses.viscous_nms, losses.windage_nms2
            ),
        )
        if self.brush_drop_v is not None and isinstance(motor, SeriesMotor):
            motor = replace(motor, brush_drop_v=self.brush_drop_v)
        return motor


def _power(value: str, wording: str, **more) -> dict:
    return {"quantity": "power", "value": value, "wording": wording, **more}


THINGS = (
    Thing(
        "snorrel", "Vintrask", "Snorrel 60", "wet/dry vacuum",
        series(120, 8.5, 19500, r=0.16, x=0.33, knee=0.8, iron=0.07, coulomb=0.03, windage=0.14),
        US, 8.5, 1.1e-4, "15 A",
        (
            _power("6.25 hp", "6.25 PEAK HP*", where_printed="carton front", footnote=PEAK_NOTE,
                   seen_on="2026-03-02"),
            {"quantity": "current", "value": "8.5 A", "wording": "8.5 amps",
             "where_printed": "rating plate"},
        ),
        model_number="VS-60-2", produced="2023–",
    ),
    Thing(
        "tarnwell", "Pelgrath", "Tarnwell 4", "wet/dry vacuum",
        series(120, 11, 21000, r=0.13, x=0.27, knee=0.9, iron=0.06, coulomb=0.03, windage=0.12),
        US, 11.0, 1.4e-4, "15 A",
        (_power("4 hp", "4.0 Peak HP*", where_printed="lid label", footnote=PEAK_NOTE,
                seen_on="2026-03-02"),),
        model_number="TW4", produced="2021–2025",
    ),
    Thing(
        "churnella", "Klemwick", "Churnella 1750", "blender",
        series(120, 9, 17500, r=0.13, x=0.26, iron=0.06, coulomb=0.03, windage=0.08),
        US, 9.0, 9e-5, "15 A",
        (_power("1750 W", "1750-watt motor", where_printed="base, front",
                footnote="Watts taken from the outlet at the hardest blend."),),
        model_number="CH-1750-B",
    ),
    Thing(
        "skrevin", "Dunnavik", "Skrevin 13", "corded drill",
        series(120, 6.5, 16000, r=0.12, x=0.25, iron=0.06, coulomb=0.04),
        US, 6.5, 6e-5, "15 A",
        (_power("1.2 hp", "1.2 hp max output", where_printed="side of the carton"),),
        model_number="SK13", plate=(("speed", "16000 rpm"),),
    ),
    Thing(
        "kerfmoor", "Mossquern", "Kerfmoor 254", "table saw",
        series(120, 15, 13500, r=0.10, x=0.22, knee=1.2),
        US, 15.0, 6e-4, "20 A",
        (_power("4.5 hp", "4.5 HP max. developed†", where_printed="motor cover",
                footnote=DEVELOPED_NOTE, seen_on="2026-04-18"),),
        model_number="KM254-120", produced="2019–2024",
    ),
    Thing(
        "breezewright", "Thrandolin", "Breezewright 450", "shop fan",
        induction(120, 1.2, 60, 6, r1=0.14, r2=0.14, x1=0.14, x2=0.14, xm=1.3, core=14,
                  coulomb=0.04, windage=0.03),
        US, 1.6, 1.5e-3, "15 A",
        (_power("0.2 hp", "1/5 hp motor", where_printed="guard badge"),),
        model_number="BW450",
    ),
    Thing(
        "harrowmist", "Quorbeck", "Harrowmist 24", "air compressor",
        induction(120, 13.5, 60, 4, r1=0.045, r2=0.05, xm=2.2, core=30, backward=False),
        US, 13.5, 2.2e-3, "15 A",
        (_power("1.5 hp", "1.5 hp running", where_printed="tank label",
                footnote="Shaft power at rated current."),),
        model_number="HM-24", plate=(("power", "1.5 hp"), ("speed", "1714 rpm")),
    ),
    Thing(
        "meadowhand", "Sorbellune", "Meadowhand 1600", "lawn mower",
        series(230, 7, 9000, r=0.12),
        EU, 7.0, 4e-4, "16 A",
        (_power("1600 W", "1600 W", where_printed="deck and carton"),),
        model_number="MH 1600 E", market="230 V, 50 Hz", plate=(("power", "1600 W"),),
    ),
    Thing(
        "hulvekka", "Hulvekka", "Sirroon 3", "hair dryer",
        magnet(108, 0.35, 12500, r=0.2, iron=0.06, coulomb=0.06, windage=0.1),
        US, 0.4, 8e-7, "15 A", model_number="SR3",
    ),
    Thing(
        "whetter", "Obrendil", "Whetter 150", "bench grinder",
        induction(120, 4.2, 60, 2),
        US, 5.5, 9e-4, "15 A",
        (_power("0.5 hp", "1/2 HP", where_printed="rating plate"),),
        model_number="WH-150", plate=(("speed", "3450 rpm"),),
    ),
    Thing(
        "edgehand", "Dunnavik", "Edgehand 8", "router",
        series(230, 4.8, 24000, r=0.11, windage=0.1),
        EU, 4.8, 5e-5, "16 A",
        (_power("1050 W", "1050 W rated input", where_printed="rating plate"),),
        model_number="EH8-E", market="230 V, 50 Hz",
    ),
    Thing(
        "fennimarch",
        "Yarrowgund & Daughters Household Motor Works of Upper Fennimarch",
        "Grand Universal Kitchen Companion with Slow-Start Planetary Gear, 5.5 litre, Series II",
        "stand mixer",
        series(230, 2.6, 11000, r=0.15, coulomb=0.05),
        EU, 2.6, 7e-5, "16 A",
        (_power("1000 W", "1000 W Maximalleistung", where_printed="bowl lift, left side",
                footnote="Kurzzeitig, vom Netz aufgenommen."),),
        model_number="GUKC-5.5-II/230-DE-AT-CH", market="230 V, 50 Hz", produced="2018–",
    ),
    Thing(
        "striderail", "Zelwarrin", "Striderail 200", "treadmill",
        magnet(120, 12, 5200, r=0.10),
        DIRECT, 12.0, 1.6e-3, "15 A",
        (_power("2.5 hp", "2.5 HP peak duty*", where_printed="console sticker",
                footnote="* Duty as the maker of the motor defines it."),),
        model_number="SR200", market="120 V, 60 Hz; motor fed with direct current",
    ),
)  # fmt: skip

PIECES = (
    Piece(
        "snorrel-a", "snorrel", "A", "new in carton, brushes run in 2 h", "2 h", "bought new", True
    ),
    Piece(
        "snorrel-b", "snorrel", "B", "used, filter clean", "60 h", "lent by a reader", True, 1.02
    ),
    Piece("tarnwell-a", "tarnwell", "A", "new, brushes run in 2 h", "2 h", "bought new", True),
    Piece(
        "tarnwell-b",
        "tarnwell",
        "B",
        "worn: brushes short, front bearing dry",
        "400 h",
        "skip behind a school",
        False,
        1.12,
        3.0,
        7.0,
    ),
    Piece("churnella-a", "churnella", "A", "new", "1 h", "bought new", True),
    Piece(
        "churnella-b", "churnella", "B", "used, given up for a last test", "150 h", "donated", True
    ),
    Piece(
        "skrevin-a", "skrevin", "A", "used, gearbox taken off", "30 h", "tool library stock", True
    ),
    Piece(
        "kerfmoor-a", "kerfmoor", "A", "used, blade and belt removed", "90 h", "member's saw", True
    ),
    Piece("breeze-a", "breezewright", "A", "new, blade removed", "0 h", "bought new"),
    Piece("harrowmist-a", "harrowmist", "A", "used, pump uncoupled", "200 h", "workshop's own"),
    Piece("meadow-a", "meadowhand", "A", "new, blade removed", "0 h", "bought new", True),
    Piece("meadow-b", "meadowhand", "B", "used", "45 h", "lent by a reader", True, 1.01),
    Piece(
        "dryer-a", "hulvekka", "A", "fan motor out of its housing, heater not fed", None, "donated"
    ),
    Piece("whetter-a", "whetter", "A", "used, wheels off", None, "workshop's own"),
    Piece("edgehand-a", "edgehand", "A", "new, collet on a coupling", "1 h", "bought new", True),
    Piece("mixer-a", "fennimarch", "A", "used, gear taken off", "110 h", "donated", True),
    Piece(
        "stride-a", "striderail", "A", "motor alone, flywheel off", None, "scrap treadmill", True
    ),
)
