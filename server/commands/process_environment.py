"""What the processes of `serve` are started with, beside the settings.

Fresh memory costs a visit to the kernel for each page, a tenth of the time that a log of a million
rows takes from its first byte to its figures. So large pages are asked for, arrays come from one
place that keeps what it was given back, and what the reader of logs gives back is kept for half a
minute. A platform that knows none of these words ignores them.
"""

import os
from collections.abc import Mapping

_MIB = 1 << 20
_ALLOCATOR = {
    "hugetlb": 1,
    "arena_max": 1,
    "mmap_threshold": 1024 * _MIB,
    "trim_threshold": 256 * _MIB,
}
_DEFAULTS = {
    # The processes share the cores: threads of the linear algebra would only wait for each other.
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "GLIBC_TUNABLES": ":".join(f"glibc.malloc.{k}={v}" for k, v in _ALLOCATOR.items()),
    "_RJEM_MALLOC_CONF": (
        "thp:always,dirty_decay_ms:30000,muzzy_decay_ms:30000,background_thread:true"
    ),
}


def process_environment(settings: Mapping[str, str]) -> dict[str, str]:
    """The environment of a process: what the operator says goes before what is set here."""
    return {**_DEFAULTS, **os.environ, **settings}
