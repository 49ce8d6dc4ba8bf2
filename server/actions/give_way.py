"""A thread whose work nobody waits for by itself leaves the processor to those that are waited
for."""

import os
import sys
import threading

_NICENESS = 10


def give_way() -> None:
    """Let the calling thread, and those it starts, run after the others of the machine.

    For good: a thread can't take it back. Only Linux has a niceness for each thread; elsewhere
    nothing changes.
    """
    if sys.platform == "linux":
        os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), _NICENESS)
