"""Made-up things to render pages with: no database, no reduction."""

from datetime import UTC, date, datetime
from math import exp

from server.model.bench import Appliance, Claim, Instrument, Plate, Rig, RunDetails, Specimen
from server.model.measured import Finding, Metric
from server.model.recording import Column
from server.model.results import Curve, Lag, LoadPoint, Reduction, Segment, Trace
from server.model.views import (
    ApplianceView,
    JournalRow,
    ListingRow,
    RunRow,
    RunView,
    Stored,
    StoredFile,
)
from server.model.words import (
    AbsorberType,
    Channel,
    FindingCode,
    MetricName,
    MotorFamily,
    RunKind,
    RunState,
    SegmentKind,
    Severity,
    Supply,
)

AT = datetime(2026, 11, 12, 9, 30, tzinfo=UTC)
N = MetricName
HOSTILE = '<script>alert("1")</script> & <b>bold</b>'


def metrics(scale: float = 1.0, *, is_bounded: bool = True) -> dict[MetricName, Metric]:
    values = {
        N.FREE_SPEED: (2100.0, 4.0),
        N.SHAFT_POWER_AT_RATED_CURRENT: (574.0 * scale, 6.0),
        N.TORQUE_AT_RATED_CURRENT: (0.53, 0.004),
        N.EFFICIENCY_AT_RATED_CURRENT: (0.602, 0.007),
        N.POWER_FACTOR_AT_RATED_CURRENT: (0.98, 0.004),
        N.INPUT_POWER_AT_RATED_CURRENT: (954.0, 4.0),
        N.SHAFT_POWER_MAX_STEADY: (838.0 * scale, 10.0),
        N.SPEED_AT_MAX_STEADY_POWER: (640.0, 4.0),
        N.CURRENT_AT_MAX_STEADY_POWER: (14.1, 0.05),
        N.INPUT_POWER_AT_MAX_STEADY_POWER: (1594.0, 7.0),
        N.SHAFT_POWER_MAX_MOMENTARY: (850.0 * scale, 20.0),
        N.BRAKE_READING_WHILE_SLOWING: (1350.0, 40.0),
        N.EFFICIENCY_MAX: (0.613, 0.007),
        N.POWER_FACTOR_AT_EFFICIENCY_MAX: (0.985, 0.004),
        N.SUPPLY_SAG: (0.021, 0.001),
    }
    found = {name: Metric(name, value, u) for name, (value, u) in values.items()}
    if not is_bounded:
        found[N.SHAFT_POWER_MAX_STEADY] = Metric(
            N.SHAFT_POWER_MAX_STEADY, 690.0, 9.0, lower_bound=True
        )
    found[N.INPUT_ROTOR_HELD] = Metric.missing(N.INPUT_ROTOR_HELD, "the rotor was never held")
    return found


def _power(torque: float) -> float:
    return 1200 * torque * (1 - torque / 3.0) * exp(-torque / 6)


def reduction(scale: float = 1.0, *, is_bounded: bool = True) -> Reduction:
    torque = tuple(0.1 + 0.1 * i for i in range(27))
    points = tuple(
        LoadPoint(
            start_s=5.0 * i,
            end_s=5.0 * i + 4,
            is_dwell=True,
            n_samples=200,
            n_effective=60.0,
            torque_nm=t,
            speed_rad_s=_power(t) * scale / t,
            shaft_power_w=_power(t) * scale,
            voltage_v=119.0,
            current_a=3 + 4 * t,
            input_power_w=_power(t) / 0.58 + 60,
            efficiency=_power(t) / (_power(t) / 0.58 + 60),
            u_torque_nm=0.004,
            u_speed_rad_s=3.0,
            u_shaft_power_w=5.0,
            u_current_a=0.02,
            u_input_power_w=4.0,
            u_efficiency=0.005,
        )
        for i, t in enumerate((0.2, 0.5, 0.9, 1.3, 1.7, 2.2, 2.6))
    )
    curve = Curve(
        quantity="shaft_power",
        unit="W",
        torque_nm=torque,
        value=tuple(_power(t) * scale for t in torque),
        standard_uncertainty=tuple(6.0 + t for t in torque),
        beyond=tuple(t > 2.6 for t in torque),
        fit="polynomial of order 4, chosen by its information criterion",
    )
    time = tuple(float(i) for i in range(60))
    return Reduction(
        kind=RunKind.BRAKE,
        method_version="brake-1",
        metrics=metrics(scale, is_bounded=is_bounded),
        findings=(
            Finding(FindingCode.SUPPLY_OFF_PLATE, Severity.INFO, {"rel": 0.06}),
            Finding(FindingCode.LAST_LINE_CUT, Severity.WARNING, {"row": 1201}),
        ),
        segments=(
            Segment(SegmentKind.RUN_UP, 0.0, 2.0, 0, 40),
            Segment(SegmentKind.STEADY_DWELL, 5.0, 20.0, 100, 400),
            Segment(SegmentKind.RUN_DOWN, 50.0, 59.0, 1000, 1180),
        ),
        points=points,
        curves=(curve,),
        lag=Lag(0.02, True),
        trace=Trace(
            time_s={"speed": time, "torque": time},
            value={
                "speed": tuple(2000.0 - 10 * t for t in time),
                "torque": tuple(None if t == 30 else 0.02 * t for t in time),
            },
        ),
        channels_used=(Channel.TIME, Channel.SPEED, Channel.TORQUE, Channel.CURRENT),
    )


def plate() -> Plate:
    return Plate(
        voltage_v=120.0,
        supply=Supply.AC,
        frequency_hz=60.0,
        current_a=8.2,
        motor_family=MotorFamily.SERIES,
        circuit_a=15.0,
        typed={"voltage_v": "120 V", "current_a": "8.2 A"},
    )


def claim(words: str = "5.0 peak hp") -> Claim:
    return Claim(
        quantity="power",
        value_si=5 * 745.6998715822702,
        wording=words,
        value_typed="5.0 hp",
        where_printed="carton, front",
        footnote="Peak as developed by the motor alone.",
        seen_on=date(2026, 10, 2),
    )


def stored_appliance(name: str = "Millbeck", number: int = 1) -> Stored[Appliance]:
    return Stored(
        public_id=f"4k7p2m9xq{number}",
        slug="millbeck-wd-30",
        content=Appliance(maker=name, model="WD-30", category="wet/dry vacuum"),
    )


def run_view(
    name: str = "Millbeck", *, number: int = 1, scale: float = 1.0, is_bounded: bool = True
) -> RunView:
    return RunView(
        public_id=f"r7p2m9xq1{number}",
        state=RunState.PUBLISHED,
        revision=1,
        appliance=stored_appliance(name, number),
        plate=plate(),
        claims=(claim(),),
        specimen=Stored("s1a2b3c4d5", "2", Specimen(label=name, condition="used")),
        rig=Stored(
            "g1a2b3c4d5",
            "arm-brake",
            Rig(
                name=name,
                absorber=AbsorberType.FRICTION,
                arm_m=0.25,
                inertia_kg_m2=3e-4,
                rotor_inertia_kg_m2=1e-4,
                drag=((100.0, 0.001), (2000.0, 0.01)),
                instruments=(
                    Instrument(Channel.TORQUE, of_reading=0.005, range=5.0, of_range=0.001),
                ),
                typed={"arm_m": "250 mm"},
            ),
        ),
        details=RunDetails(tested_on=date(2026, 11, 11), notes=name),
        tester=name,
        tester_id="t1a2b3c4d5",
        file=StoredFile("ab" * 32, f"{name}.csv", 123456),
        columns=(
            Column(0, "t", Channel.TIME, "s", "header “t”"),
            Column(1, name, None, None, "fits no channel"),
        ),
        dialect={"separator": ";", "decimal": ","},
        n_rows=1200,
        reduction=reduction(scale, is_bounded=is_bounded),
        is_stale=False,
        failure=None,
        created_at=AT,
        updated_at=AT,
        journal=(JournalRow(AT, "run published", "system", name),),
    )


def run_row(name: str = "Millbeck", number: int = 1) -> RunRow:
    return RunRow(
        public_id=f"r7p2m9xq1{number}",
        state=RunState.PUBLISHED,
        kind="brake",
        tested_on=date(2026, 11, 11),
        created_at=AT,
        tester=name,
        specimen="2",
        rig="arm brake",
        appliance_id=f"4k7p2m9xq{number}",
        appliance_slug="millbeck-wd-30",
        appliance_name=f"{name} WD-30",
        metrics=metrics(),
    )


def appliance_view(
    name: str = "Millbeck", *, number: int = 1, scale: float = 1.0, is_bounded: bool = True
) -> ApplianceView:
    return ApplianceView(
        appliance=stored_appliance(name, number),
        plate=plate(),
        plate_revision=1,
        claims=(claim(f"5.0 {name}"),),
        runs=(run_row(name, number),),
        best=run_view(name, number=number, scale=scale, is_bounded=is_bounded),
        n_specimens=1,
        n_testers=1,
        journal=(JournalRow(AT, "appliance added", name, None),),
        updated_at=AT,
    )


def listing_row(name: str = "Millbeck", number: int = 1, scale: float = 1.0) -> ListingRow:
    return ListingRow(
        public_id=f"4k7p2m9xq{number}",
        slug="millbeck-wd-30",
        maker=name,
        model=f"WD-{number}0",
        model_number=None,
        category="wet/dry vacuum",
        printed_power_w=5 * 745.6998715822702,
        printed_power_typed="5.0 hp",
        n_runs=4,
        n_specimens=2,
        n_testers=3,
        run_id=f"r7p2m9xq1{number}",
        metrics=metrics(scale),
        ratio=838.0 * scale / (5 * 745.6998715822702),
        ratio_standard_uncertainty=0.003,
        updated_at=AT,
    )
