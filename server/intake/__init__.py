"""Bytes to a checked recording, and the bench file. Knows no SQL and no HTTP."""

from server.intake.ahead import ReadAhead, ReadingAhead
from server.intake.bench import bench_from_mapping, bench_to_mapping, read_bench
from server.intake.bench_fields import RUN_KEYS
from server.intake.digest import recording_digest
from server.intake.following import Following, Lines
from server.intake.limits import ReadLimits
from server.intake.log import preview_log, read_log
from server.intake.parquet import digest_stored, load_recording, write_recording
from server.intake.text import open_text

__all__ = [
    "RUN_KEYS",
    "Following",
    "Lines",
    "ReadAhead",
    "ReadLimits",
    "ReadingAhead",
    "bench_from_mapping",
    "bench_to_mapping",
    "digest_stored",
    "load_recording",
    "open_text",
    "preview_log",
    "read_bench",
    "read_log",
    "recording_digest",
    "write_recording",
]
