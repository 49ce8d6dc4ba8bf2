"""How large a log may be. Each limit has a setting of its own, named in the refusal."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ReadLimits:
    max_bytes: int = 1024**3
    max_rows: int = 10_000_000
    max_columns: int = 256
