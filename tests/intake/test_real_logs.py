"""Two real logs of a blower, read whole. They have no torque, so they are no brake runs."""

from pathlib import Path

import numpy as np
import pytest

from server.errors import UnusableLog
from server.intake import read_log
from server.model.words import RunKind

_DATA = Path(__file__).parents[1] / "outside" / "data" / "blower"


@pytest.mark.parametrize(
    ("name", "n_rows", "span_s"),
    [("flow-test-21818rpm.csv", 288, 14.35), ("flow-test-24000rpm.csv", 1515, 28.84)],
)
def test_read_whole(name: str, n_rows: int, span_s: float) -> None:
    log = read_log(_DATA / name, name=name, kind=RunKind.FLUID)
    assert log.n_rows == n_rows
    assert log.recording.time_s[-1] == pytest.approx(span_s)
    assert [c.header for c in log.columns] == [
        "t", "p1_adc", "patient", "p2_adc", "p2", "p3_adc", "p3", "Q1",
    ]  # fmt: skip
    assert set(log.recording.extras) == {c.header for c in log.columns[1:]}
    assert not log.recording.channels
    by_hand = np.loadtxt(_DATA / name, delimiter=",", skiprows=1)
    for column in log.columns[1:]:
        values = log.recording.extras[column.header]
        np.testing.assert_array_equal(values, by_hand[:, column.position].astype(np.float32))
    np.testing.assert_allclose(log.recording.time_s, by_hand[:, 0] - by_hand[0, 0], atol=1e-12)


def test_refused_as_a_brake_run_with_both_reasons() -> None:
    path = _DATA / "flow-test-21818rpm.csv"
    with pytest.raises(UnusableLog) as caught:
        read_log(path, name=path.name)
    assert ["speed" in caught.value.problems[0].message, len(caught.value.problems)] == [True, 2]
