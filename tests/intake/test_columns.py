"""Headers of many hands: what each column is taken for, in which unit, and why."""

from pathlib import Path

import numpy as np
import pytest

from server.errors import UnusableLog
from server.intake import preview_log
from server.intake.columns import understand
from server.model.bench import ColumnChoice
from server.model.words import Channel
from tests.intake.writing import read, read_any


def guess(header: str, *others: str, cells: tuple[str, ...] = ()) -> tuple[str | None, str | None]:
    understood, _ = understand([header, *others], None, [cells, *[()] * len(others)])
    column = understood[0].column
    return (column.channel.value if column.channel else None), column.unit


HEADERS = {
    "Torque (ozf·in)": ("torque", "ozf·in"), "speed_rpm": ("speed", "r/min"),
    "I [A]": ("current", "A"), "torque_mnm": ("torque", "mN·m"), "speed_rads": ("speed", "rad/s"),
    "power_kw": ("power", "kW"), "i_ma": ("current", "mA"), "lbfin": ("torque", "lbf·in"),
    "t": ("time", "s"), "U": ("voltage", "V"), "V": ("voltage", "V"), "P": ("power", "W"),
    "S": ("apparent_power", "VA"), "PF": ("power_factor", "1"), "cosφ": ("power_factor", "1"),
    "cos phi": ("power_factor", "1"), "f": ("frequency", "Hz"), "F": ("force", "N"),
    "M": ("torque", "N·m"), "n": ("speed", "r/min"), "N": ("speed", "r/min"),
    "t/s": ("time", "s"), "U/V": ("voltage", "V"), "M / N·m": ("torque", "N·m"),
    "n in 1/min": ("speed", "r/min"), "M in Nm": ("torque", "N·m"), "n, rpm": ("speed", "r/min"),
    "Zeit": ("time", "s"), "Spannung": ("voltage", "V"), "Strom": ("current", "A"),
    "Leistung": ("power", "W"), "Wirkleistung [kW]": ("power", "kW"),
    "Scheinleistung": ("apparent_power", "VA"), "Leistungsfaktor": ("power_factor", "1"),
    "Drehmoment": ("torque", "N·m"), "Drehzahl": ("speed", "r/min"), "Kraft": ("force", "N"),
    "Frequenz": ("frequency", "Hz"), "Temperatur": ("temperature_1", "°C"),
    "Stromstärke (mA)": ("current", "mA"), "Drehzahl [U/min]": ("speed", "r/min"),
    "temps": ("time", "s"), "Temps (s)": ("time", "s"), "tension": ("voltage", "V"),
    "courant": ("current", "A"), "puissance": ("power", "W"), "couple": ("torque", "N·m"),
    "Puissance apparente (VA)": ("apparent_power", "VA"), "fréquence": ("frequency", "Hz"),
    "vitesse (tr/min)": ("speed", "r/min"), "Facteur de puissance": ("power_factor", "1"),
    "Température (°C)": ("temperature_1", "°C"),
    "tiempo": ("time", "s"), "tensión": ("voltage", "V"), "corriente": ("current", "A"),
    "potencia": ("power", "W"), "par": ("torque", "N·m"), "velocidad": ("speed", "r/min"),
    "fuerza (N)": ("force", "N"), "Factor de potencia": ("power_factor", "1"),
    "Motor Speed (RPM)": ("speed", "r/min"), "MotorSpeed": ("speed", "r/min"),
    "Load Cell [lbf]": ("force", "lbf"), "loadcell_g": ("force", "g"),
    "Scale (kg)": ("force", "kgf"),
    "Line Voltage (Vrms)": ("voltage", "V"), "Voltage (L1)": ("voltage", "V"),
    "Current (true rms) [A]": ("current", "A"), "Active power": ("power", "W"),
    "Real Power (W)": ("power", "W"), "power_hp": ("power", "hp"), "Elapsed Time": ("time", "s"),
    "Winding temperature [°F]": ("temperature_1", "°F"), "TIME_MS": ("time", "ms"),
    "SPEED_RPM": ("speed", "r/min"), "POWER_MW": ("power", "mW"),
    "TORQUE_OZIN": ("torque", "ozf·in"),
    "Torque (in·lb)": ("torque", "lbf·in"), "Torque_ft_lb": ("torque", "lbf·ft"),
    "torque_kg-cm": ("torque", "kgf·cm"), "rpm": ("speed", "r/min"), "Nm": ("torque", "N·m"),
    "Volts": ("voltage", "V"), "Amps": ("current", "A"), "Watts": ("power", "W"),
    "VA": ("apparent_power", "VA"), "Hz": ("frequency", "Hz"), "°C": ("temperature_1", "°C"),
    "U_eff [V]": ("voltage", "V"), "I_rms": ("current", "A"), "P_el": ("power", "W"),
    "ω [rad/s]": ("speed", "rad/s"), "omega": ("speed", "rad/s"), "τ": ("torque", "N·m"),
    "brake setting": ("brake_setting", "1"), "Bremse": ("brake_setting", "1"),
    "Brake torque (N·m)": ("torque", "N·m"), "power factor (%)": ("power_factor", "%"),
    "M_Nm": ("torque", "N·m"), "m_nm": ("torque", "N·m"), "M_NM": ("torque", "N·m"),
    "M Nm": ("torque", "N·m"), "Motor M Nm": ("torque", "N·m"), "Torque N m": ("torque", "N·m"),
    "torque_N_m": ("torque", "N·m"), "torque in lb": ("torque", "lbf·in"),
    "M_mNm": ("torque", "mN·m"),
    "Wellenleistung [W]": (None, "W"), "Volumenstrom [m3/h]": (None, "m3/h"),
    "P2 [W]": (None, "W"), "Loss [W]": (None, "W"), "Pout [W]": (None, "W"), "P_ab": (None, None),
    "Shaft (kW)": (None, "kW"), "Fan Hz": ("frequency", "Hz"), "speed min": (None, None),
    "Torque (NÂ·m)": ("torque", "N·m"), "F_g": ("force", "g"), "U_mV": ("voltage", "mV"),
    "S_VA": ("apparent_power", "VA"), "T_C": ("temperature_1", "°C"), "n_1/min": ("speed", "r/min"),
    "Power [VA]": ("apparent_power", "VA"), "Brake (kg)": ("force", "kgf"), "P_zu": ("power", "W"),
    "Load (N)": ("force", "N"), "P1 [W]": ("power", "W"), "Pin [W]": ("power", "W"),
    "Motordrehzahl": ("speed", "r/min"), "Bremsmoment [Nm]": ("torque", "N·m"),
    "Netzspannung": ("voltage", "V"), "Motorstrom": ("current", "A"),
    "motorspeed": ("speed", "r/min"),
    "Stromaufnahme (A)": ("current", "A"), "Eingangsleistung": ("power", "W"),
    "Leistungsaufnahme": ("power", "W"), "inputpower_w": ("power", "W"),
    "ch 3 [W]": ("power", "W"), "Dyno [N·m]": ("torque", "N·m"), "W": ("power", "W"),
    # What only looks like a channel stays under its own name.
    "Shaft power (W)": (None, "W"), "P_mech": (None, None), "Output power [W]": (None, "W"),
    "Brake power": (None, None), "Blindleistung [var]": (None, "var"), "I_peak": (None, None),
    "Speed setpoint": (None, None), "Drehzahl Soll": (None, None), "p [kPa]": (None, "kPa"),
    "p1_adc": (None, None), "p2": (None, None), "Q1": (None, None), "patient": (None, None),
    "Efficiency (%)": (None, "%"), "P [bar]": (None, "bar"), "Brake current [A]": (None, "A"),
    "Comment": (None, None), "": (None, None),
}  # fmt: skip


@pytest.mark.parametrize(("header", "expected"), HEADERS.items(), ids=list(HEADERS))
def test_header(header: str, expected: tuple[str | None, str | None]) -> None:
    assert guess(header) == expected


def test_capital_t_is_settled_by_unit_or_company() -> None:
    assert guess("T [°C]") == ("temperature_1", "°C")
    assert guess("T [Nm]") == ("torque", "N·m")
    assert guess("T [s]") == ("time", "s")
    assert guess("T", "n", "t") == ("torque", "N·m")
    assert guess("T", "M", "n") == ("temperature_1", "°C")
    assert guess("T1", "n", "t")[0] == "temperature_1"


def test_capital_t_that_rises_is_the_time_where_nothing_else_is(tmp_path: Path) -> None:
    log = read(tmp_path, "T;U;I;P;M;N\n0;1;2;3;4;5\n0,5;1;2;3;4;5\n1;1;2;3;4;5\n")
    assert log.recording.time_s.tolist() == [0, 0.5, 1]
    assert log.columns[5].channel is Channel.SPEED


def test_capital_n_beside_a_speed_is_a_force() -> None:
    assert guess("N", "n") == ("force", "N")
    assert guess("N", "M") == ("speed", "r/min")


def test_units_by_the_figures_where_none_is_given() -> None:
    assert guess("PF", cells=("85", "90")) == ("power_factor", "%")
    assert guess("Temp", cells=("293.1", "295.2")) == ("temperature_1", "K")
    cells = tuple(str(i) for i in range(0, 40_000, 200))
    assert guess("time", cells=cells) == ("time", "ms")
    assert guess("time", cells=("0", "10", "20")) == ("time", "s")


def test_every_guess_has_a_reason_and_plain_hp_says_which(tmp_path: Path) -> None:
    log = read(tmp_path, "t,n,M,P (hp),foo\n0,1,2,3,4\n1,1,2,3,4\n")
    assert all(c.reason for c in log.columns)
    assert "mechanical" in log.columns[3].reason
    assert "taken as r/min" in log.columns[1].reason


def test_the_better_of_two_columns_is_kept_and_the_other_stays(tmp_path: Path) -> None:
    log = read(tmp_path, "t,Torque,Torque (lbf·in),n\n0,1,2,3\n1,1,2,3\n")
    assert log.columns[2].channel is Channel.TORQUE
    assert log.columns[1].channel is None
    assert "better torque" in log.columns[1].reason
    assert log.recording.extras["Torque"].tolist() == [1, 1]


def test_repeated_headers_keep_every_column(tmp_path: Path) -> None:
    log = read(tmp_path, "t,n,M,x,x\n0,1,2,3,4\n1,1,2,3,4\n")
    assert log.recording.extras["x"].tolist() == [3, 3]
    assert log.recording.extras["x (column 5)"].tolist() == [4, 4]


def test_four_temperatures_in_order_and_a_fifth_beside(tmp_path: Path) -> None:
    names = ",".join(f"Temp {i} [°C]" for i in range(1, 6))
    log = read(tmp_path, f"t,n,M,{names}\n0,1,2,10,20,30,40,50\n1,1,2,10,20,30,40,50\n")
    temperatures = [log.recording.channels[Channel(f"temperature_{i}")][0] for i in range(1, 5)]
    np.testing.assert_allclose(temperatures, [283.15, 293.15, 303.15, 313.15])
    assert log.recording.extras["Temp 5 [°C]"].tolist() == [50, 50]


def test_speed_in_hertz_takes_the_rigs_pulses(tmp_path: Path) -> None:
    text = "t,n [Hz],M\n0,600,2\n1,600,2\n"
    with_rig = read(tmp_path, text, pulses_per_revolution=60)
    assert with_rig.recording.channels[Channel.SPEED][0] == pytest.approx(2 * np.pi * 10)
    assert "60 pulses" in with_rig.columns[1].reason
    without = read(tmp_path, text)
    assert without.recording.channels[Channel.SPEED][0] == pytest.approx(2 * np.pi * 600)
    assert "the rig says nothing" in without.columns[1].reason


class TestChoices:
    """The sender's word overrules every guess."""

    def test_by_header(self, tmp_path: Path) -> None:
        choices = (
            ColumnChoice("a", Channel.TORQUE, "ozf·in"), ColumnChoice("b", Channel.SPEED, "rpm"),
            ColumnChoice("M", None, None),
        )  # fmt: skip
        log = read(tmp_path, "t,a,b,M\n0,100,2,3\n1,100,2,3\n", choices=choices)
        assert log.recording.channels[Channel.TORQUE][0] == pytest.approx(0.7061552)
        assert log.columns[1].reason.startswith("chosen by the sender")
        assert log.columns[3].channel is None
        assert "M" in log.recording.extras

    def test_by_position_where_headers_repeat(self, tmp_path: Path) -> None:
        choices = (ColumnChoice("x", Channel.TORQUE, "N·m", 3), ColumnChoice("x", None, None, 2))
        log = read(tmp_path, "t,n,x,x\n0,100,2,3\n1,100,2,3\n", choices=choices)
        assert log.recording.channels[Channel.TORQUE].tolist() == [3, 3]

    def test_without_a_header(self, tmp_path: Path) -> None:
        choices = tuple(
            ColumnChoice(f"column {i + 1}", channel, unit)
            for i, (channel, unit) in enumerate(
                [(Channel.TIME, "ms"), (Channel.SPEED, "rpm"), (Channel.TORQUE, "N·m")]
            )
        )
        log = read(tmp_path, "0,1,2.25\n1000,1,3.25\n2000,2,3.5\n", choices=choices)
        assert log.recording.time_s.tolist() == [0, 1, 2]

    @pytest.mark.parametrize(
        ("choice", "words"),
        [
            (ColumnChoice("nope", Channel.TORQUE, None), "no column has this header"),
            (ColumnChoice("x", Channel.TORQUE, "N·m"), "several columns"),
            (ColumnChoice("x", Channel.TORQUE, "V", 2), "not a unit of torque"),
        ],
    )
    def test_a_choice_that_can_not_be_kept_is_refused(
        self, choice: ColumnChoice, words: str, tmp_path: Path
    ) -> None:
        with pytest.raises(UnusableLog, match=words):
            read(tmp_path, "t,n,x,x,M\n0,1,2,3,4\n1,1,2,3,4\n", choices=(choice,))


def test_order_of_columns_and_extra_ones_change_no_figure(tmp_path: Path) -> None:
    plain = read(tmp_path, "t,n,M\n0,100,2\n1,110,3\n")
    other = read(tmp_path, "note,M,x,n,t\non,2,9,100,0\noff,3,9,110,1\n")
    assert plain.recording.time_s.tolist() == other.recording.time_s.tolist()
    for channel, values in plain.recording.channels.items():
        assert other.recording.channels[channel].tolist() == values.tolist()


def test_repeated_rows_are_kept_as_they_stand(tmp_path: Path) -> None:
    log = read(tmp_path, "t,n,M\n0,100,2\n0,100,2\n1,110,3\n1,110,3\n")
    assert log.recording.time_s.tolist() == [0, 0, 1, 1]


def test_text_columns_are_kept_where_they_change(tmp_path: Path) -> None:
    log = read_any(tmp_path, "t,U,state\n0,1,idle\n1,1,idle\n2,1,load\n3,1,idle\n")
    assert log.recording.notes["words"] == {"state": [[0, "idle"], [2, "load"], [3, "idle"]]}


def test_preview_shows_head_and_problems_without_reading_all(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    body = "".join(f"{i},{100 + i},2.5\n" for i in range(50))
    path.write_text("# made up\n\nt,n,Torque (foo)\n" + body)
    preview = preview_log(path, name="log.csv", n_rows=5)
    assert preview.preamble[0] == "# made up"
    assert [c.header for c in preview.columns] == ["t", "n", "Torque (foo)"]
    assert preview.rows[1] == ("1", "101", "2.5")
    assert len(preview.rows) == 5
    assert any("foo" in p for p in preview.problems)
    fixed = preview_log(
        path, name="log.csv", choices=(ColumnChoice("Torque (foo)", Channel.TORQUE, "N·m"),)
    )
    assert fixed.problems == ()
