"""The worker process of `serve`."""

import signal
import threading
from types import FrameType

from server.commands.parent import end_with_parent
from server.settings import Settings
from server.worker import run_worker


def main() -> None:
    end_with_parent()
    stop = threading.Event()

    def ask(_signal: int, _frame: FrameType | None) -> None:
        stop.set()

    signal.signal(signal.SIGTERM, ask)
    signal.signal(signal.SIGINT, ask)
    run_worker(Settings(), stop)


if __name__ == "__main__":
    main()
