"""Letting others watch: the newest readings to the server about once a second.

All of it happens in a thread of its own, and only the newest readings are kept for it: a slow
network drops some, and nothing of it ever reaches the recording.
"""

import threading
from typing import Any
from urllib.parse import urljoin

import httpx

from server.model.live import LiveReadings

EVERY_S = 1.0
TIMEOUT_S = 5.0
LAST_WORD_S = 10.0
LIVE = "/api/v1/live"


class Watch:
    """`address`: where others watch, once the server has given one; `fault`: why there is none."""

    def __init__(self, server: str, token: str, *, title: str | None) -> None:
        self.address: str | None = None
        self.fault: str | None = None
        self._server = server
        self._title = title
        self._client = httpx.Client(
            base_url=server,
            headers={"Authorization": f"Bearer {token}"},
            timeout=httpx.Timeout(TIMEOUT_S),
        )
        self._path: str | None = None
        self._newest = LiveReadings()
        self._told: LiveReadings | None = None
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._post_all, daemon=True, name="watch")
        self._thread.start()

    def offer(self, readings: LiveReadings) -> None:
        """Take the place of whatever was not sent yet."""
        self._newest = readings

    @property
    def notes(self) -> list[str]:
        if self.address is not None:
            told = [f"Others may watch at {self.address} (until a day after the end)."]
            return told + ([f"Watchers wait: {self.fault}"] if self.fault else [])
        return [f"Nobody can watch: {self.fault}"] if self.fault else []

    def end(self, readings: LiveReadings) -> None:
        """Tell the last readings, and that the test is over."""
        self._newest = readings
        self._ending.set()
        self._thread.join(LAST_WORD_S)

    def tell_run(self, run_id: str) -> None:
        """Lead the watchers on to the run that the test became."""
        self._put({"run": run_id})
        self._client.close()

    def _post_all(self) -> None:
        while not self._ending.wait(EVERY_S if self._path else 0.05):
            if self._path is None and not self._open():
                self._ending.wait(EVERY_S)
            elif self._newest is not self._told:
                self._told = newest = self._newest
                self._put(shape_of(newest))
        self._put({**shape_of(self._newest), "has_ended": True})

    def _open(self) -> bool:
        answer = self._ask("POST", LIVE, {"title": self._title} if self._title else {})
        if answer is None:
            return False
        self._path = f"{LIVE}/{answer['address']}"
        self.address = urljoin(self._server, str(answer["page"]))
        return True

    def _put(self, body: dict[str, Any]) -> None:
        if self._path is not None:
            self._ask("PUT", self._path, body)

    def _ask(self, method: str, path: str, body: dict[str, Any]) -> dict[str, Any] | None:
        try:
            response = self._client.request(method, path, json=body)
        except httpx.HTTPError as error:
            self.fault = f"{self._server} can't be reached ({error})."
            return None
        if not response.is_success:
            self.fault = f"{self._server} answered {response.status_code}."
            return None
        self.fault = None
        return dict(response.json()) if response.content else {}


def shape_of(readings: LiveReadings) -> dict[str, Any]:
    """The JSON that the server takes, in SI."""
    return {
        "at_s": round(readings.at_s, 2),
        "n_lines": readings.n_lines,
        "n_unreadable": readings.n_unreadable,
        "now": {q.value: float(f"{v:.5g}") for q, v in readings.now.items()},
        "highest": {q.value: float(f"{v:.5g}") for q, v in readings.highest.items()},
        "trace_s": list(readings.trace_s),
        "trace": {q.value: list(values) for q, values in readings.trace.items()},
    }
