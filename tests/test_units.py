"""What people and loggers print for units, and what is refused."""

import subprocess
import sys
from pathlib import Path

import pytest

from server.errors import UnitError
from server.units import (
    conversion,
    convert,
    find_unit,
    from_si,
    kinds,
    kinds_of,
    known_units,
    parse_number,
    split_quantity,
    to_si,
)


@pytest.mark.parametrize(
    "spelling",
    ["in·lb", "in-lb", "in lb", "inlb", "lb·in", "lbf·in", "lbf-in", "LBF-IN", "lbfin", "lb.in",
     "lb*in", "lbf in", "lb_in", "in.lbs", "lbs·in", "inch-pounds", "pound inches"],
)  # fmt: skip
def test_a_torque_in_either_order_is_one_unit(spelling: str) -> None:
    assert find_unit(spelling, "torque") == "lbf·in"


@pytest.mark.parametrize(
    ("spelling", "kind", "shown"),
    [
        ("oz·in", "torque", "ozf·in"), ("ozin", "torque", "ozf·in"), ("in-oz", "torque", "ozf·in"),
        ("kg·cm", "torque", "kgf·cm"), ("kgf-cm", "torque", "kgf·cm"), ("g·cm", "torque", "gf·cm"),
        ("ft·lb", "torque", "lbf·ft"), ("lb-ft", "torque", "lbf·ft"),
        ("ft.lbs", "torque", "lbf·ft"),
        ("Nm", "torque", "N·m"), ("N.m", "torque", "N·m"), ("N m", "torque", "N·m"),
        ("NM", "torque", "N·m"), ("mnm", "torque", "mN·m"), ("mNm", "torque", "mN·m"),
        ("N⋅m", "torque", "N·m"), ("Ncm", "torque", "N·cm"),
        ("rpm", "speed", "r/min"), ("RPM", "speed", "r/min"), ("1/min", "speed", "r/min"),
        ("min-1", "speed", "r/min"), ("min⁻¹", "speed", "r/min"), ("min^-1", "speed", "r/min"),
        ("U/min", "speed", "r/min"), ("tr/min", "speed", "r/min"), ("giri/min", "speed", "r/min"),
        ("rads", "speed", "rad/s"), ("rad/s", "speed", "rad/s"), ("rad·s⁻¹", "speed", "rad/s"),
        ("°C", "temperature", "°C"), ("degC", "temperature", "°C"), ("℃", "temperature", "°C"),
        ("F", "temperature", "°F"), ("℉", "temperature", "°F"), ("K", "temperature", "K"),
        ("Volts", "voltage", "V"), ("Vrms", "voltage", "V"), ("VAC", "voltage", "V"),
        ("Amps", "current", "A"), ("mA", "current", "mA"), ("ma", "current", "mA"),
        ("kw", "power", "kW"), ("KW", "power", "kW"), ("HP", "power", "hp"),
        ("PS", "power", "metric hp"), ("cv", "power", "metric hp"),
        ("VA", "apparent_power", "VA"), ("kva", "apparent_power", "kVA"),
        ("%", "power_factor", "%"), ("sec", "time", "s"), ("msec", "time", "ms"),
        ("μs", "time", "µs"), ("us", "time", "µs"), ("Minuten", "time", "min"),
        ("kg", "force", "kgf"), ("g", "force", "g"), ("lbs", "force", "lbf"),
        ("kg m^2", "inertia", "kg·m²"), ("kgm2", "inertia", "kg·m²"),
        ("g cm^2", "inertia", "g·cm²"),
        ("kg·m²", "inertia", "kg·m²"), ("oz-in²", "inertia", "oz·in²"),
    ],
)  # fmt: skip
def test_spellings(spelling: str, kind: str, shown: str) -> None:
    assert find_unit(spelling, kind) == shown


def test_capitals_count_where_two_units_differ_by_them_alone() -> None:
    assert convert(1.0, "MW", "power") == 1e6
    assert convert(1.0, "mW", "power") == 1e-3
    assert convert(1.0, "mN·m", "torque") == 1e-3


@pytest.mark.parametrize("name", ["boiler hp", "hp(S)", "water hp", "hydraulic horsepower"])
def test_horsepowers_that_are_no_motor_power_are_refused_with_the_reason(name: str) -> None:
    with pytest.raises(UnitError, match="can't be used"):
        conversion(name, "power")


def test_plain_horsepower_is_mechanical_and_others_only_when_named() -> None:
    assert to_si("1 hp", "power") == pytest.approx(745.6998715822702, rel=1e-15)
    assert to_si("1 hp (metric)", "power") == pytest.approx(735.49875, rel=1e-14)
    assert to_si("1 electric hp", "power") == 746.0


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("120 V", "voltage", 120.0), ("3e-4 kg m^2", "inertia", 3e-4), ("1.5 %", "fraction", 0.015),
        ("15 A", "current", 15.0), ("100 ms", "time", 0.1), ("0,9 hp", "power", 671.12988442404),
        ("20000 rpm", "speed", 2094.3951023931954), ("20 000 rpm", "speed", 2094.3951023931954),
        ("±0.5 %", "fraction", 0.005), ("5 counts", "digits", 5.0), ("5 digits", "digits", 5.0),
        ("3", "digits", 3.0), ("0.5 % of reading", "fraction", 0.005), ("10 in", "length", 0.254),
        ("10\"", "length", 0.254), ("-20 °C", "temperature", 253.15),
        ("1.500,5 W", "power", 1500.5),
        ("1,234,567 W", "power", 1234567.0), ("60 pulses/rev", "pulses", 60.0),
        (".5 N", "force", 0.5),
    ],
)  # fmt: skip
def test_quantities_as_typed(text: str, kind: str, value: float) -> None:
    assert to_si(text, kind) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("text", ["1,500 W", "abc", "", "V", "1e999 W", "12 V 3", "1.2.3 W", "5"])
def test_what_can_be_read_two_ways_or_not_at_all_is_refused(text: str) -> None:
    with pytest.raises(UnitError):
        to_si(text, "power")


def test_a_users_text_is_never_evaluated() -> None:
    for text in ("1 W*1000", "1 W**2", "1 __import__('os')", "1 (watt)", "2 kilowatt*2"):
        with pytest.raises(UnitError):
            to_si(text, "power")


def test_every_known_unit_converts_there_and_back() -> None:
    for kind in kinds():
        for unit in known_units(kind):
            assert from_si(convert(12.5, unit, kind), unit, kind) == pytest.approx(12.5, rel=1e-12)
        assert convert(2.0, known_units(kind)[0], kind) == 2.0


def test_from_si_finds_the_kind_from_the_unit() -> None:
    assert from_si(745.6998715822702, "hp") == pytest.approx(1.0)
    assert from_si(104.71975511965977, "r/min") == pytest.approx(1000.0)
    with pytest.raises(UnitError):
        from_si(1.0, "furlong")


def test_numbers_and_their_units_are_split() -> None:
    assert split_quantity("0.9 hp") == (0.9, "hp")
    assert split_quantity("20000rpm") == (20000.0, "rpm")
    assert parse_number("−3") == -3.0
    assert "torque" in kinds_of("N·m")
    assert kinds_of("furlong") == ()


def test_importing_units_and_intake_loads_no_heavy_library() -> None:
    code = (
        "import sys, server.units, server.intake\n"
        "print([m for m in ('pint', 'numpy', 'polars', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_threads_of_a_fresh_process_may_ask_at_once() -> None:
    """The registry is no help there: unguarded, some of these fail or come out wrong."""
    script = """
import sys
from pathlib import Path
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from server.units import conversion, kinds, known_units

sys.setswitchinterval(1e-6)
asked = [(unit, kind) for kind in kinds() for unit in known_units(kind)]
together = Barrier(8)

def ask(n):
    together.wait()
    return [conversion(unit, kind).scale for unit, kind in asked[n:] + asked[:n]]

with ThreadPoolExecutor(8) as pool:
    found = list(pool.map(ask, range(8)))
alone = [conversion(unit, kind).scale for unit, kind in asked]
for n, scales in enumerate(found):
    assert scales == alone[n:] + alone[:n], n
"""
    subprocess.run([sys.executable, "-c", script], check=True, cwd=Path(__file__).parents[1])
