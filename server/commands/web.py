"""One web process of `serve`: takes the listening socket's number as its only argument."""

import socket
import sys

import uvicorn

from server.app import create_app
from server.commands.parent import end_with_parent
from server.settings import Settings

# So long may a thread that works out figures keep one waiting that answers a reader.
TURN_S = 0.001


def main() -> None:
    end_with_parent()
    sys.setswitchinterval(TURN_S)
    settings = Settings()
    listener = socket.socket(fileno=int(sys.argv[1]))
    config = uvicorn.Config(
        create_app(settings, n_processes=settings.web_processes),
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=5,
    )
    uvicorn.Server(config).run(sockets=[listener])


if __name__ == "__main__":
    main()
