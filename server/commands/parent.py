"""End with the parent: a child whose parent was killed must not go on serving."""

import os
import signal
import threading
import time


def end_with_parent(poll_s: float = 0.5) -> None:
    """Watch the parent from a thread; when it is gone, ask this process to end."""
    parent = os.getppid()

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(poll_s)
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=watch, daemon=True, name="watch parent").start()
