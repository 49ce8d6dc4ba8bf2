"""The bench file: every key, its units, its refusals, and the way back."""

from dataclasses import fields
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.errors import UnusableBench
from server.intake import bench_from_mapping, bench_to_mapping, read_bench
from server.model.bench import Bench, Instrument, Plate, Rig, RunDetails, Specimen
from server.model.words import (
    AbsorberType,
    Channel,
    MotorFamily,
    RunKind,
    Source,
    Supply,
)

FULL = """
[plate]
voltage = "120 V"
supply = "AC"
frequency = "60 Hz"
current = "10.2 A"
power = "0.9 hp"
speed = "20000 rpm"
duty = "continuous"
motor_family = "series"
circuit = "15 A"

[rig]
name = "bench 2"
absorber = "eddy-current brake"
arm = "10 in"
inertia = "3e-4 kg m^2"
rotor_inertia = "0,9 kg·cm²"
drag = [["20000 rpm", "5 mN·m"], ["0 rpm", "1 mN·m"]]
drag_before_sensor = "two bearings and the coupling"
pulses_per_revolution = 60
averaging = "100 ms"
meter_bandwidth = "20 kHz"
meter_true_rms = true
meter_real_power = true
arm_uncertainty = "0.2 %"
inertia_uncertainty = "5 %"
drag_uncertainty = "10 %"

[[instrument]]
channel = "torque"
name = "torque sensor"
of_reading = "0.5 %"
range = "2 N·m"
of_range = "0.2 %"
calibrated = 2026-01-15

[[instrument]]
channel = "voltage"
of_reading = "±1.5 %"
digits = "5 counts"
resolution = "0.1 V"
distribution = "normal"
coverage_factor = 2

[[instrument]]
channel = "temperature_1"
resolution = "0.1 °C"

[[claim]]
quantity = "power"
value = "5 hp"
wording = "5 PEAK HP*"
where_printed = "box, front"
footnote = "* peak as measured in a laboratory"
seen_on = "2026-02-03"

[[claim]]
quantity = "airflow"
value = "120 cfm"

[columns]
"Torque (ozf·in)" = {channel = "torque", unit = "ozf·in"}
"n" = {channel = "speed", unit = "rpm", position = 3}
"junk" = {channel = "none"}

[appliance]
maker = "Millbeck"
model = "WD 30"
category = "wet/dry vacuum"
model_number = "30-A"
market = "US"
produced = "2024-2026"

[specimen]
condition = "new"
label = "no. 2"
hours = "3.5 h"
brushes_run_in = true
obtained = "bought"

[run]
kind = "brake"
source = "logger"
tested_on = 2026-03-14
ambient = "23 °C"
supply_note = "variable transformer"
notes = "fuse blew at the end"
"""


def test_every_key_is_read_into_si() -> None:
    bench = read_bench(FULL)
    plate = bench.plate
    assert (plate.voltage_v, plate.supply, plate.frequency_hz) == (120, Supply.AC, 60)
    assert (plate.current_a, plate.circuit_a, plate.motor_family) == (10.2, 15, MotorFamily.SERIES)
    assert plate.power_w == pytest.approx(0.9 * 745.6998715822702)
    assert plate.speed_rad_s == pytest.approx(2094.3951, rel=1e-6)
    rig = bench.rig
    assert (rig.arm_m, rig.absorber) == (0.254, AbsorberType.EDDY_CURRENT)
    assert rig.rotor_inertia_kg_m2 == pytest.approx(9e-5)
    assert rig.drag == ((0.0, 0.001), (pytest.approx(2094.3951, rel=1e-6), 0.005))
    assert (rig.pulses_per_revolution, rig.averaging_s, rig.meter_bandwidth_hz) == (60, 0.1, 2e4)
    assert rig.meter_true_rms is True
    assert rig.arm_uncertainty_rel == pytest.approx(0.002)
    torque, voltage, temperature = rig.instruments
    assert (torque.of_reading, torque.range, torque.of_range) == (0.005, 2, 0.002)
    assert torque.calibrated == date(2026, 1, 15)
    assert (voltage.digits, voltage.resolution, voltage.coverage_factor) == (5, 0.1, 2)
    assert temperature.resolution == pytest.approx(0.1)  # a difference, not a point of the scale
    assert bench.claims[0].value_si == pytest.approx(3728.499357911351)
    assert (bench.claims[0].wording, bench.claims[0].value_typed) == ("5 PEAK HP*", "5 hp")
    assert bench.claims[0].seen_on == date(2026, 2, 3)
    assert bench.claims[1].wording == "120 cfm"
    assert bench.columns[0].unit == "ozf·in"
    assert (bench.columns[1].position, bench.columns[2].channel) == (3, None)
    assert bench.appliance is not None
    assert bench.appliance.model == "WD 30"
    assert (bench.specimen.hours, bench.specimen.brushes_run_in) == (3.5, True)
    assert bench.run.tested_on == date(2026, 3, 14)
    assert bench.run.ambient_k == pytest.approx(296.15)


def test_what_was_typed_is_kept() -> None:
    bench = read_bench(FULL)
    assert bench.plate.typed["power_w"] == "0.9 hp"
    assert bench.rig.typed["arm_m"] == "10 in"
    assert bench.rig.instruments[1].typed["of_reading"] == "±1.5 %"


def test_there_and_back() -> None:
    bench = read_bench(FULL)
    mapping = bench_to_mapping(bench)
    assert bench_from_mapping(mapping) == bench
    assert mapping["plate"]["power"] == "0.9 hp"
    assert mapping["claim"][0]["value"] == "5 hp"
    assert mapping["rig"]["drag"][0] == ["0 rpm", "1 mN·m"] or mapping["rig"]["drag"]


def test_an_empty_bench_is_one_where_nothing_is_known() -> None:
    assert read_bench("") == Bench()
    assert bench_from_mapping({}) == Bench()
    assert bench_to_mapping(Bench()) == {"run": {"kind": "brake", "source": "logger"}, "plate": {
        "motor_family": "unknown"}}  # fmt: skip
    assert bench_from_mapping(bench_to_mapping(Bench())) == Bench()
    assert read_bench('[plate]\nvoltage = "230 V"').plate.supply is None


def test_every_key_is_optional() -> None:
    bench = read_bench(
        "[appliance]\ncategory = 'blender'\n[[instrument]]\nchannel = 'torque'\ndigits = 3\n"
    )
    assert bench.appliance is not None
    assert (bench.appliance.maker, bench.appliance.category) == ("", "blender")
    assert bench.rig.instruments[0].digits == 3


def test_bytes_with_a_mark_are_read() -> None:
    assert read_bench(b'\xef\xbb\xbf[plate]\nvoltage = "230 V"\n').plate.voltage_v == 230


@pytest.mark.parametrize(
    ("text", "field", "words"),
    [
        ("[plat]\nvoltage = '1 V'", "plat", "Did you mean “plate”"),
        ("[plate]\nvolage = '1 V'", "plate.volage", "Did you mean “voltage”"),
        ("[plate]\nvoltage = 120", "plate.voltage", "bare number"),
        ("[plate]\nvoltage = '120'", "plate.voltage", "no unit"),
        ("[plate]\nvoltage = '120 A'", "plate.voltage", "not a unit of voltage"),
        ("[plate]\nvoltage = '-5 V'", "plate.voltage", "more than zero"),
        ("[plate]\nvoltage = true", "plate.voltage", "quantity"),
        ("[plate]\npower = '1 boiler hp'", "plate.power", "can't be used"),
        ("[plate]\nsupply = 'mains'", "plate.supply", "AC, DC"),
        ("[plate]\nmotor_family = 'steam'", "plate.motor_family", "induction"),
        ("[rig]\narm = '10 kg'", "rig.arm", "not a unit of length"),
        ("[rig]\npulses_per_revolution = 0", "rig.pulses_per_revolution", "more than zero"),
        ("[rig]\ndrag = [['1 rpm']]", "rig.drag[1]", "pair"),
        ("[rig]\ndrag = [['1 rpm', '1 V']]", "rig.drag[1]", "not a unit of torque"),
        ("[rig]\ndrag = [['1 rpm', '1 mNm'], ['1 rpm', '2 mNm']]", "rig.drag", "twice"),
        ("[[instrument]]\nchannel = 'tork'", "instrument[1].channel", "torque"),
        ("[[instrument]]\nof_reading = '1 %'", "instrument[1].channel", "None"),
        ("[[instrument]]\nchannel = 'torque'\nrange = '20 A'", "instrument[1].range", "torque"),
        ("[[claim]]\nquantity = 'might'\nvalue = '5 hp'", "claim[1].quantity", "no quantity"),
        ("[[claim]]\nquantity = 'power'", "claim[1].value", "missing"),
        ("[[claim]]\nquantity = 'power'\nvalue = 5", "claim[1].value", "bare number"),
        ("[columns]\nM = {channel = 'tork'}", "columns.M", "torque"),
        ("[columns]\nM = {channel = 'torque', unit = 'V'}", "columns.M", "not a unit of torque"),
        ("[plate]\nvoltage = '220-240 V'", "plate.voltage", "more than one figure"),
        ("[plate]\nfrequency = '50/60 Hz'", "plate.frequency", "more than one figure"),
        ("[specimen]\nhours = '3 V'", "specimen.hours", "duration"),
        ("[run]\ntested_on = 'yesterday'", "run.tested_on", "no date"),
        ("[run]\nkind = 'jog'", "run.kind", "brake"),
        (
            "[[instrument]]\nchannel = 'torque'\nof_reading = '0.5'",
            "instrument[1].of_reading",
            "“50 %” or “0.5 %”",
        ),
        ("plate = 3", "plate", "table"),
        ("claim = 3", "claim", "list of tables"),
    ],
)
def test_refused_with_the_key_and_what_to_do(text: str, field: str, words: str) -> None:
    with pytest.raises(UnusableBench) as caught:
        read_bench(text)
    found = [p for p in caught.value.problems if p.field == field]
    assert found, caught.value.problems
    assert words in str(found[0])


def test_all_problems_come_at_once() -> None:
    with pytest.raises(UnusableBench) as caught:
        read_bench("[plate]\nvoltage = 3\ncurent = '1 A'\n[rig]\ninertia = '1 kg'\n")
    assert {p.field for p in caught.value.problems} == {
        "plate.voltage", "plate.curent", "rig.inertia",
    }  # fmt: skip


@pytest.mark.parametrize("text", ["[plate", "a = ", b"\xff\xfe\x00", "[a]\n[a]\n"])
def test_what_is_no_toml_is_refused(text: str | bytes) -> None:
    with pytest.raises(UnusableBench):
        read_bench(text)


@pytest.mark.parametrize("data", [None, 3, [], "x", {"plate": [1]}, {"columns": 3}, {"rig": "x"}])
def test_json_of_another_shape_is_refused(data: object) -> None:
    with pytest.raises(UnusableBench):
        bench_from_mapping(data)


@pytest.mark.parametrize(
    ("word", "kind", "source"),
    [
        ("brake", RunKind.BRAKE, Source.LOGGER), ("run-down", RunKind.RUN_DOWN, Source.LOGGER),
        ("in use", RunKind.IN_USE, Source.LOGGER), ("run_up", RunKind.RUN_UP, Source.LOGGER),
        ("locked rotor", RunKind.LOCKED_ROTOR, Source.LOGGER),
        ("hand readings", RunKind.BRAKE, Source.BY_HAND),
    ],
)  # fmt: skip
def test_words_for_the_kind_of_run(word: str, kind: RunKind, source: Source) -> None:
    run = bench_from_mapping({"run": {"kind": word}}).run
    assert (run.kind, run.source) == (kind, source)


_value = st.floats(min_value=1e-6, max_value=1e6, allow_nan=False)
_maybe = st.none() | _value


@settings(max_examples=60, deadline=None)
@given(
    plate=st.builds(
        Plate, voltage_v=_maybe, current_a=_maybe, power_w=_maybe, speed_rad_s=_maybe,
        supply=st.none() | st.sampled_from(Supply), motor_family=st.sampled_from(MotorFamily),
        duty=st.none() | st.just("S1"),
    ),
    rig=st.builds(
        Rig, arm_m=_maybe, inertia_kg_m2=_maybe, rotor_inertia_kg_m2=_maybe, averaging_s=_value,
        pulses_per_revolution=_maybe, meter_true_rms=st.none() | st.booleans(),
        drag=st.lists(st.tuples(_value, _value), unique_by=lambda p: p[0], max_size=4).map(
            lambda pairs: tuple(sorted(pairs))),
        instruments=st.lists(
            st.builds(Instrument, channel=st.sampled_from(Channel), of_reading=_maybe,
                      resolution=_maybe, range=_maybe),
            max_size=3).map(tuple),
    ),
    run=st.builds(RunDetails, kind=st.sampled_from(RunKind), ambient_k=_maybe),
    specimen=st.builds(Specimen, hours=_maybe, brushes_run_in=st.none() | st.booleans()),
)  # fmt: skip
def test_any_bench_goes_there_and_back(
    plate: Plate, rig: Rig, run: RunDetails, specimen: Specimen
) -> None:
    """Figures come back to the last digit though nothing was typed: SI with its unit is written."""
    bench = Bench(plate=plate, rig=rig, run=run, specimen=specimen)
    back = bench_from_mapping(bench_to_mapping(bench))
    for mine, theirs in ((bench.plate, back.plate), (bench.run, back.run),
                         (bench.specimen, back.specimen), (bench.rig, back.rig)):  # fmt: skip
        for field in fields(mine):
            if field.name not in {"typed", "instruments"}:
                assert getattr(mine, field.name) == getattr(theirs, field.name), field.name
    for one, two in zip(bench.rig.instruments, back.rig.instruments, strict=True):
        assert (one.channel, one.range, one.resolution) == (two.channel, two.range, two.resolution)
