"""Small bench descriptions, recordings and figures, built by hand."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from server.actions.keep_recording import keep_recording
from server.actions.prepare_run import PreparedRun, digest_inputs, key_of_recording
from server.model.bench import (
    Appliance,
    Bench,
    Claim,
    ColumnChoice,
    Instrument,
    Plate,
    Rig,
    RunDetails,
    Specimen,
)
from server.model.measured import Finding, Metric
from server.model.methods import METHOD_VERSIONS
from server.model.recording import Column, LogRead, Recording
from server.model.results import Curve, Lag, LoadPoint, Reduction, Segment, Trace
from server.model.words import (
    AbsorberType,
    Channel,
    FindingCode,
    MetricName,
    MotorFamily,
    RunKind,
    SegmentKind,
    Severity,
    Supply,
)
from server.store.files import StoredUpload, keep_upload_from

LOG = "time,speed [rad/s],torque [N m]\n0,2000,0.0\n1,1800,0.1\n2,1500,0.2\n"


def example_bench(
    *, maker: str = "Millbeck", model: str = "WD 30", power_w: float = 3728.5
) -> Bench:
    return Bench(
        plate=Plate(
            voltage_v=120.0,
            supply=Supply.AC,
            current_a=10.2,
            motor_family=MotorFamily.SERIES,
            circuit_a=15.0,
            typed={"voltage": "120 V", "current": "10.2 A"},
        ),
        rig=Rig(
            name="Bench one",
            absorber=AbsorberType.FRICTION,
            arm_m=0.1,
            inertia_kg_m2=3e-4,
            drag=((0.0, 0.001), (2000.0, 0.004)),
            instruments=(
                Instrument(Channel.TORQUE, of_reading=0.005, calibrated=date(2026, 3, 1)),
            ),
        ),
        claims=(Claim("power", power_w, "5 peak hp", "5 hp", where_printed="box"),),
        columns=(ColumnChoice("speed [rad/s]", Channel.SPEED, "rad/s"),),
        appliance=Appliance(maker=maker, model=model, category="wet/dry vacuum"),
        specimen=Specimen(label="A1", condition="new", hours=2.0),
        run=RunDetails(tested_on=date(2026, 11, 2), notes="Bearing sounded rough."),
    )


def example_recording(*, offset: float = 0.0) -> Recording:
    return Recording(
        time_s=np.array([0.0, 1.0, 2.0]),
        channels={
            Channel.SPEED: np.array([2000, 1800, 1500], dtype=np.float32),
            Channel.TORQUE: np.array([0.0, 0.1, 0.2 + offset], dtype=np.float32),
        },
        extras={"Fan tap": np.array([1, 1, np.nan], dtype=np.float32)},
    )


def example_log(recording: Recording) -> LogRead:
    columns = (
        Column(0, "time", Channel.TIME, "s", "header"),
        Column(1, "speed [rad/s]", Channel.SPEED, "rad/s", "header"),
        Column(2, "torque [N m]", Channel.TORQUE, "N m", "header"),
    )
    return LogRead(recording, columns, {"separator": ","}, len(recording.time_s))


def example_reduction(
    *,
    shaft_w: float = 640.0,
    findings: tuple[Finding, ...] = (),
    method: str = METHOD_VERSIONS[RunKind.BRAKE],
) -> Reduction:
    metrics = {
        MetricName.SHAFT_POWER_MAX_STEADY: Metric(
            MetricName.SHAFT_POWER_MAX_STEADY, shaft_w, shaft_w * 0.02
        ),
        MetricName.EFFICIENCY_MAX: Metric(MetricName.EFFICIENCY_MAX, 0.53, 0.01, lower_bound=True),
        MetricName.FREE_SPEED: Metric(MetricName.FREE_SPEED, 2000.0, 2.0),
        MetricName.SHAFT_POWER_AT_RATED_CURRENT: Metric.missing(
            MetricName.SHAFT_POWER_AT_RATED_CURRENT, "rated current never reached"
        ),
    }
    return Reduction(
        kind=RunKind.BRAKE,
        method_version=method,
        metrics=metrics,
        findings=findings,
        segments=(Segment(SegmentKind.STEADY_DWELL, 0.0, 1.0, 0, 1),),
        points=(LoadPoint(0.0, 1.0, True, 2, 1.5, 0.1, 1800.0, 180.0, efficiency=0.5),),
        curves=(
            Curve(
                "shaft_power", "W", (0.0, 0.1), (0.0, 180.0), (1.0, 2.0), (False, True), "quadratic"
            ),
        ),
        lag=Lag(0.02, True),
        trace=Trace(time_s={"speed": (0.0, 1.0, 2.0)}, value={"speed": (2000.0, None, 1500.0)}),
        channels_used=(Channel.SPEED, Channel.TORQUE),
    )


ERROR = Finding(FindingCode.EFFICIENCY_IMPOSSIBLE, Severity.ERROR, {"efficiency": 1.2})
WARNING = Finding(FindingCode.RATED_CURRENT_NOT_REACHED, Severity.WARNING, {"highest_a": 8.0})


def example_upload(files: Path, *, text: str = LOG, name: str = "run.csv") -> StoredUpload:
    files.mkdir(parents=True, exist_ok=True)
    source = files.parent / f"sent-{abs(hash(text))}.csv"
    source.write_text(text)
    return keep_upload_from(files, source, name=name)


def example_prepared(
    files: Path,
    upload: StoredUpload,
    bench: Bench,
    *,
    reduction: Reduction | None = None,
    recording: Recording | None = None,
) -> PreparedRun:
    """What `prepare_run` gives, with figures made by hand."""
    recording = recording or example_recording()
    sha256 = key_of_recording(recording)
    keep_recording(recording, sha256=sha256, files=files)
    return PreparedRun(
        file_sha256=upload.sha256,
        n_bytes=upload.n_bytes,
        log=example_log(recording),
        recording_sha256=sha256,
        reduction=reduction or example_reduction(),
        input_digest=digest_inputs(sha256, bench=bench),
        bench=bench,
    )


def with_model(bench: Bench, model: str) -> Bench:
    assert bench.appliance is not None
    return replace(bench, appliance=replace(bench.appliance, model=model))
