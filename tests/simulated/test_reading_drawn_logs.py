"""Every way a drawn log is written, intake reads back what the sensors showed."""

from pathlib import Path

import numpy as np
import pytest

from seed_data.draws import draw_case
from server.intake import read_bench, read_log


@pytest.mark.parametrize("seed", range(4_000, 4_040))
def test_a_drawn_log_is_read_back(seed: int, tmp_path: Path) -> None:
    case = draw_case(seed)
    path = tmp_path / case.log_name
    path.write_bytes(case.log)
    bench = read_bench(case.bench)
    log = read_log(
        path,
        name=case.log_name,
        choices=bench.columns,
        pulses_per_revolution=bench.rig.pulses_per_revolution,
    )
    read = {channel.value: values for channel, values in log.recording.channels.items()}
    time = case.shown["time"]
    assert log.recording.time_s.size == time.size
    np.testing.assert_allclose(log.recording.time_s, time, atol=2e-3)
    for name in set(case.written) - {"time"}:
        assert name in read, f"{name} not found in {[c.header for c in log.columns]}"
        is_there = np.isfinite(read[name])
        assert is_there.mean() > 0.99
        written = case.shown[name][is_there]
        # Loggers write a few digits: the largest reading is good to a thousandth or two.
        atol = 2e-3 * np.abs(written).max()
        np.testing.assert_allclose(read[name][is_there], written, rtol=0, atol=atol)
