"""The sentences of each finding: what was found, and what can be done about it."""

from server.model.measured import JsonValue
from server.wording.rig_sentences import channel_of

Evidence = dict[str, JsonValue]


def _number(evidence: Evidence, key: str, pattern: str = ".3g") -> str:
    value = evidence.get(key)
    if isinstance(value, int | float) and not isinstance(value, bool):
        text = format(value, pattern)
        if "e+" in text:  # nobody reads 1.07e+04 W at a glance
            text = f"{float(text):.0f}"
        return text.replace("-", "−")
    return "an unknown value"


def _percent(evidence: Evidence, key: str) -> str:
    value = evidence.get(key)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{100 * value:.1f} %".replace("-", "−")
    return "an unknown share"


def _candidates(evidence: Evidence) -> str:
    found = evidence.get("candidates")
    words = []
    for item in found if isinstance(found, list) else []:
        if isinstance(item, dict):
            channels = item.get("channels")
            names = " or ".join(str(c) for c in channels) if isinstance(channels, list) else ""
            words.append(
                f"{item.get('units')} in {names} (factor {_number(item, 'factor', '.4g')})"
            )
    if not words:
        return "No common pair of units explains it."
    if len(words) == 1:
        return f"It would fit a mix-up of {words[0]}."
    return "It would fit any of these mix-ups: " + "; ".join(words) + "."


def unit_slip(e: Evidence) -> tuple[str, str]:
    if "voltage_over_plate" in e:
        seen = f"The voltage is {_number(e, 'voltage_over_plate')} times the plate's."
    elif "power_factor" in e:
        seen = (
            f"Input power is {_number(e, 'power_factor')} times volts × amperes, which no"
            " appliance shows under load."
        )
    else:
        seen = (
            f"For each further watt at the input the brake shows"
            f" {_number(e, 'gain_of_brake_over_gain_of_input')} W; a sound motor shows between"
            " about 0.3 W and 1.6 W."
        )
    return f"{seen} {_candidates(e)}", (
        "Check the units of these columns, the arm's length and the pulses per revolution."
    )


def impossible(e: Evidence) -> tuple[str, str]:
    return (
        f"Shaft power exceeds input power: efficiency would be {_percent(e, 'efficiency')}.",
        "Check the units, the arm's length, the pulses per revolution and the input power.",
    )


def improbable(e: Evidence) -> tuple[str, str]:
    return (
        f"The best efficiency, {_percent(e, 'efficiency')}, is not what motors of this kind show"
        f" (limit taken: {_percent(e, 'limit')}).",
        "Check the units, the arm's length and which drag is lost before the sensor.",
    )


def power_factor(e: Evidence) -> tuple[str, str]:
    return (
        f"Input power is {_number(e, 'power_factor', '.4g')} times volts × amperes; more than one"
        " can't be.",
        "Check the ranges of voltage, current and power, and whether the meter reads true rms.",
    )


def torque_sign(e: Evidence) -> tuple[str, str]:
    return (
        "The torque was negative while the motor drove; it was taken with the other sign.",
        "Swap the sensor's sign, or say that it reads in the other direction.",
    )


def torque_zero(e: Evidence) -> tuple[str, str]:
    if "least_torque_nm" in e:
        return (
            "There is no idle stretch to read the zero from, and the least torque is negative"
            f" ({_number(e, 'least_torque_nm')} N·m): the zero is likely off.",
            "Log a few seconds at rest before and after the run.",
        )
    if e.get("is_after_left_out") is True:
        return (
            "At rest after the run the sensor still showed a good part of the load: the brake held."
            " Only the zero before the run was used.",
            "Release the brake before the last seconds of the log.",
        )
    if isinstance(e.get("drift_nm"), int | float):
        return (
            f"The torque's zero was {_number(e, 'before_nm')} N·m before and"
            f" {_number(e, 'after_nm')} N·m after the run; it was taken off along a straight line.",
            "A drift beyond 2 % of the highest torque calls for a warm-up of the sensor.",
        )
    return (
        "The torque's zero at rest was off, and was taken off the whole run.",
        "Log a few seconds at rest before and after the run, so that a drift shows.",
    )


def over_range(e: Evidence) -> tuple[str, str]:
    if "n_cells" in e:
        return (
            f"The logger wrote an overload in {_number(e, 'n_cells', '.0f')} of"
            f" {_number(e, 'n_rows', '.0f')} cells of the column “{e.get('column')}”; they were"
            " taken as blank.",
            "Use a larger range.",
        )
    return (
        f"The {channel_of(e)} reached {_number(e, 'value')}, beyond its instrument's range of"
        f" {_number(e, 'range')} (SI units).",
        "Use a larger range, or correct the range in the rig's description.",
    )


def synchronous(e: Evidence) -> tuple[str, str]:
    return (
        f"An induction motor drove at {_number(e, 'speed_rad_s', '.4g')} rad/s, at or above the"
        f" synchronous speed of {_number(e, 'synchronous_rad_s', '.4g')} rad/s.",
        "Check the pulses per revolution, the unit of speed, and the motor's kind.",
    )


def pulses(e: Evidence) -> tuple[str, str]:
    if "n_samples" in e:
        return (
            f"{_number(e, 'n_samples', '.0f')} speed readings were half or twice their neighbours"
            " (missed or doubled pulses); they were replaced by the neighbours' mean.",
            "Check the speed sensor's mark and threshold.",
        )
    return (
        f"The speed is {_number(e, 'speed_over_synchronous')} times the highest synchronous speed:"
        " pulses may be counted twice.",
        "Check the pulses per revolution.",
    )


def sample_rate(e: Evidence) -> tuple[str, str]:
    n = _number(e, "samples_in_window")
    return (
        f"The momentary figure averages over {_number(e, 'window_s')} s, which holds only"
        f" {n} sample{'' if n == '1' else 's'}; under five it says little.",
        "Log faster, or state a longer averaging window for the rig.",
    )


def meter(e: Evidence) -> tuple[str, str]:
    return (
        "The meter does not read true rms, or its bandwidth is low, and a commutator motor's"
        " current is not a sine: current and power may be wrong by some per cent.",
        "Use a meter that reads true rms and real power over at least 2 kHz.",
    )


def not_reached(e: Evidence) -> tuple[str, str]:
    return (
        f"The current ran from {_number(e, 'lowest_a')} A to {_number(e, 'highest_a')} A and never"
        f" passed the plate's {_number(e, 'plate_a')} A, so nothing is stated at rated current.",
        "Load the motor until the current passes the plate's figure.",
    )


def not_bracketed(e: Evidence) -> tuple[str, str]:
    if e.get("open_end") == "gap":
        return (
            "Over half of the loads seen lie between two points around the highest shaft power; the"
            f" highest shown, {_number(e, 'highest_w', '.4g')} W, is a lower bound.",
            "Hold loads where shaft power is highest.",
        )
    side = "lower" if e.get("open_end") == "low" else "higher"
    return (
        f"Shaft power was not seen to fall towards {side} load, so the highest shown,"
        f" {_number(e, 'highest_w', '.4g')} W, is a lower bound.",
        "Load the motor further, until shaft power falls on both sides of its maximum.",
    )


def off_plate(e: Evidence) -> tuple[str, str]:
    return (
        f"The supply was {_number(e, 'median_v', '.4g')} V, {_percent(e, 'ratio')} of the plate's"
        f" {_number(e, 'plate_v', '.4g')} V. The figures hold for the supply as it was.",
        "Repeat the run at the plate's voltage.",
    )


def frozen(e: Evidence) -> tuple[str, str]:
    use = "" if e.get("is_used") is True else " No figure is made from it."
    return (
        f"The {channel_of(e)} never changed from {_number(e, 'value', '.4g')}.{use}",
        "Check the sensor's connection, or leave the column out.",
    )


def lag(e: Evidence) -> tuple[str, str]:
    seconds = e.get("seconds")
    later = "trails" if isinstance(seconds, int | float) and seconds > 0 else "leads"
    size = f"{abs(seconds):.3f} s" if isinstance(seconds, int | float) else "some time"
    return (
        f"Torque {later} the other channels by {size}; it was shifted back.",
        "Take out filters that one channel has and the others lack.",
    )


def last_line(e: Evidence) -> tuple[str, str]:
    if e.get("is_kept") is True:
        return (
            "The file does not end with a line end; its last line reads like a whole row and"
            " was kept.",
            "Send the file again if more of the run should be in it.",
        )
    row = f" (row {e.get('row')})" if "row" in e else ""
    return (
        f"The file ends inside its last line{row}; that line was left out.",
        "Send the file again if more of the run should be in it.",
    )


def same_file(e: Evidence) -> tuple[str, str]:
    return ("The same file was sent before.", "Send it once; revise the run that has it.")


def disordered(e: Evidence) -> tuple[str, str]:
    if "n_without_time" in e:
        return (
            f"{_number(e, 'n_without_time', '.0f')} rows have readings but no time: left out.",
            "Check the clock's column.",
        )
    if e.get("is_clock_coarse") is True:
        return (
            "Several rows share one time: the clock is coarse, and rows were spread evenly between"
            " its ticks.",
            "Log the time with more digits.",
        )
    return (
        f"{_number(e, 'n_out_of_order', '.0f')} rows stood out of order and"
        f" {_number(e, 'n_repeated', '.0f')} were repeated; rows were sorted, repeats dropped.",
        "Check how the logger writes its file.",
    )


def ended_early(e: Evidence) -> tuple[str, str]:
    return (
        "The current collapsed while the motor was under load: a fuse, a failure, or switched off"
        " there.",
        "Say in the notes what ended the run.",
    )


def no_efficiency(e: Evidence) -> tuple[str, str]:
    if e.get("has_volts_and_amperes") is True:
        message = "On AC, volts × amperes is apparent power: no efficiency is stated."
    else:
        message = "Input power was not measured: no efficiency is stated."
    return (message, "Log real power, or the power factor beside voltage and current.")


def few_points(e: Evidence) -> tuple[str, str]:
    return (
        f"Only {_number(e, 'n_points', '.0f')} steady loads or sweep bins were found.",
        "Hold at least five loads for some seconds each, or sweep more slowly.",
    )


def inertia_unknown(e: Evidence) -> tuple[str, str]:
    return (
        f"The inertia of what turns is not given, and {_number(e, 'n_sweep_points', '.0f')} of"
        f" {_number(e, 'n_points', '.0f')} load points come from a sweep: their torque includes"
        " what the turning masses gave or took; high towards load, low on the way back.",
        "Give the rig's inertia, or hold loads steady.",
    )
