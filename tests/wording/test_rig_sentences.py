"""What findings say of a rig: channels by their words, days as people write them."""

from server.model.measured import Finding
from server.model.words import FindingCode, Severity
from server.wording.findings import finding_text


def test_a_calibration_is_dated_as_people_date():
    late = [
        {"channel": "torque", "name": "Cell 5", "calibrated": "2025-10-01"},
        {"channel": "power", "name": None, "calibrated": "2024-06-30"},
    ]
    finding = Finding(FindingCode.OUT_OF_CALIBRATION, Severity.WARNING, {"instruments": late})

    assert finding_text(finding).message.replace("\u00a0", " ") == (
        "Calibrated more than a year before the test: torque (calibrated 1 Oct 2025), "
        "power from the wall (calibrated 30 Jun 2024)."
    )


def test_a_channel_goes_by_its_words():
    frozen = Finding(
        FindingCode.CHANNEL_FROZEN, Severity.WARNING, {"channel": "power_factor", "value": 0.9}
    )

    assert finding_text(frozen).message.startswith("The power factor never changed from 0.9.")
