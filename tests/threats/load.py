"""The load that processes are killed under: people who send, decide, photograph and send in pieces.

What is not acknowledged is sent again, as a person or a program would, word for word.
"""

import hashlib
import io
import json
import random
import re
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import httpx
from PIL import Image

from server.model.words import RunState
from tests.api.logs import BENCH, small_log
from tests.threats.service import Service
from tests.threats.told import Told

N_SENDERS = 3
N_PIECES = 5
# An account keeps 100 drafts: whoever makes many has several.
N_ACCOUNTS = 20
_FILES_EACH = 60
_CSRF = re.compile(r'name="csrf_token" value="([^"]+)"')
_VERSION = re.compile(r'name="version" value="(\d+)"')


class Load:
    """Everybody at once, each in a thread, until told to stop."""

    def __init__(self, service: Service, tokens: dict[str, str], seed: int) -> None:
        self.told = Told()
        self.faults: list[str] = []
        self._service = service
        self._tokens = tokens
        self._seed = seed
        self._stop = threading.Event()
        work: list[Callable[[random.Random], None]] = [
            *(_Sender(self, n).work for n in range(N_SENDERS)),
            _Withdrawer(self, "maintainer").work,
            _Desk(self, "maintainer").work,
            _Photographer(self, "photographer 0").work,
            _InPieces(self, "in pieces 0").work,
        ]
        self._threads = [
            threading.Thread(target=self._guard, args=(one, n), daemon=True)
            for n, one in enumerate(work)
        ]

    def __enter__(self) -> "Load":
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join(120)

    @property
    def goes_on(self) -> bool:
        return not self._stop.is_set()

    def _guard(self, work: Callable[[random.Random], None], n: int) -> None:
        rng = random.Random(self._seed * 1000 + n)
        try:
            while self.goes_on:
                work(rng)
                time.sleep(rng.uniform(0.0, 0.2))
        except Exception as error:
            self.faults.append(f"{type(error).__name__}: {error}")


class _Person:
    """Somebody with a token, or signed in to the pages with it."""

    def __init__(self, load: Load, who: str) -> None:
        self.load, self.told, self.who = load, load.told, who
        self.nth = 0
        self._client = httpx.Client(
            base_url=load._service.address,
            timeout=20,
            limits=httpx.Limits(max_keepalive_connections=0),
        )
        self._is_signed_in = False

    @property
    def bearer(self) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.load._tokens[self.who]}"}

    def ask(self, method: str, path: str, **more: Any) -> httpx.Response | None:
        """The answer, None where there was none, or none for now."""
        try:
            answer = self._client.request(method, path, **more)
        except (httpx.TransportError, OSError):
            with self.told.lock:
                self.told.n_lost_answers += 1
            time.sleep(0.03)
            return None
        if answer.status_code == 503:
            time.sleep(0.05)
            return None
        return answer

    def until_told(
        self, method: str, path: str, make: Callable[[], dict[str, Any]]
    ) -> tuple[httpx.Response | None, int]:
        """Ask the same again until there is an answer, and how many were lost before it."""
        n_lost = 0
        while self.load.goes_on:
            answer = self.ask(method, path, **make())
            if answer is not None:
                return answer, n_lost
            n_lost += 1
        return None, n_lost

    def sign_in(self) -> bool:
        """Have the pages' cookie; it outlives every process."""
        if not self._is_signed_in:
            form = {"token": self.load._tokens[self.who], "next": "/"}
            answer = self.ask("POST", "/sign-in", data=form)
            self._is_signed_in = answer is not None and answer.status_code == 303
        return self._is_signed_in

    def next_file(self) -> None:
        """Count one more file; after many of them go on with another account."""
        self.nth += 1
        if self.nth % _FILES_EACH == 0:
            name, n = self.who.rsplit(" ", 1)
            self.who, self._is_signed_in = f"{name} {(int(n) + 1) % N_ACCOUNTS}", False
            self._client.cookies.clear()

    def csrf(self, path: str) -> str | None:
        answer = self.ask("GET", path)
        return None if answer is None else _CSRF.findall(answer.text)[0]


class _Sender(_Person):
    """Sends logs by the API; every third is of an appliance that nobody has sent a run of."""

    def __init__(self, load: Load, n: int) -> None:
        super().__init__(load, "sender")
        self._n = n

    def work(self, rng: random.Random) -> None:
        self.nth += 1
        # A few rows are reduced at once, more are left to the worker, who must keep up.
        dwell = 2.0 if rng.random() < 0.3 else 0.5
        log = small_log(dwell_s=dwell) + f"{1000 + self._n}.{self.nth:06d},0,0,1.5,120,150\n"
        key, is_first = f"{self._n}-{self.nth}", self.nth % 3 == 0
        bench = BENCH
        if is_first:
            named = {"maker": "Millbeck", "model": f"New {key}", "category": "wet/dry vacuum"}
            bench = BENCH | {"appliance": named}
        headers = {
            **self.bearer,
            "Idempotency-Key": key,
            "Content-Type": "multipart/form-data; boundary=x",
        }
        answer, _ = self.until_told(
            "POST",
            "/api/v1/runs",
            lambda: {"content": _slowly(log.encode(), bench), "headers": headers},
        )
        if answer is None:
            return
        assert answer.status_code in (200, 201, 202), f"{answer.status_code} {answer.text}"
        public_id = answer.json()["id"]
        told = self.told
        with told.lock:
            before = told.keys.setdefault(key, public_id)
            assert before == public_id, f"one key, two runs: {before} and {public_id}"
            told.runs[public_id] = hashlib.sha256(log.encode()).hexdigest()
            if is_first:
                told.for_desk.add(public_id)
            if answer.status_code == 202:
                told.queued.setdefault(public_id, time.monotonic())


class _Withdrawer(_Person):
    """Takes runs back by the API; leaves to the worker and to the desk what they have."""

    def work(self, rng: random.Random) -> None:
        told = self.told
        with told.lock:
            recent = time.monotonic() - rng.uniform(0.0, 15.0)
            left = {*told.withdrawn} | (told.for_desk - set(told.decided))
            left |= {one for one, at in told.queued.items() if at > recent}
            open_ids = sorted(set(told.runs) - left)
            if not open_ids:
                return
            public_id = rng.choice(open_ids)
            told.asked_back.add(public_id)
        self.nth += 1
        reason = f"Act {self.nth}: the belt slipped."
        path = f"/api/v1/runs/{public_id}/withdrawal"
        answer = self.ask("POST", path, json={"reason": reason}, headers=self.bearer)
        # 409: an act whose answer was lost had been done.
        if answer is not None and answer.status_code in (201, 409):
            with told.lock:
                told.withdrawn[public_id] = reason if answer.status_code == 201 else ""
        time.sleep(0.1)


class _Desk(_Person):
    """Publishes or returns what waits, by the form of the page that was looked at."""

    def work(self, rng: random.Random) -> None:
        if not self.sign_in():
            return
        answer = self.ask("GET", "/desk/next")
        if answer is None or not answer.headers["location"].startswith("/desk/runs/"):
            return
        path = answer.headers["location"].partition("?")[0]
        page = self.ask("GET", path)
        act = rng.choice(["publish", "return"])
        if page is None or f'action="{path}/{act}"' not in page.text:
            return
        self.nth += 1
        form = {
            "csrf_token": _CSRF.findall(page.text)[0],
            "version": _VERSION.findall(page.text)[0],
            "reason": f"Decision {self.nth}: looked at.",
        }
        words = {form["reason"]}
        if act == "return":
            form |= {"field-1": "rig.arm", "text-1": f"Remark {self.nth}: is it so long?"}
            words.add(form["text-1"])
        answer, n_lost = self.until_told("POST", f"{path}/{act}", lambda: {"data": form})
        if answer is None:
            return
        public_id, told = path.rsplit("/", 1)[-1], self.told
        with told.lock:
            was_asked_back = public_id in told.asked_back
            # A form sent again after a lost answer that had decided: the version is another now.
            done_before = answer.status_code == 409 and n_lost > 0 and not was_asked_back
            if answer.status_code == 303 or done_before:
                told.decided[public_id] = (
                    RunState.PUBLISHED if act == "publish" else RunState.RETURNED
                )
                told.words |= words
                return
        is_explained = answer.status_code == 409 and was_asked_back
        assert is_explained, f"{act} {public_id}: {answer.status_code} {answer.text[:2000]}"


class _Photographer(_Person):
    """Sends photographs with drafts, each of a size of its own, by which it is known when drawn."""

    def work(self, rng: random.Random) -> None:
        if not self.sign_in() or (token := self.csrf("/send")) is None:
            return
        log = small_log(dwell_s=0.2) + f"2000.{self.nth:06d},0,0,1.5,120,150\n"
        answer, _ = self.until_told(
            "POST",
            "/send",
            lambda: {
                "data": {"csrf_token": token},
                "files": {"file": ("run.csv", log.encode())},
                "headers": {"Accept": "application/json"},
            },
        )
        if answer is None:
            return
        assert answer.status_code == 201, answer.text[:2000]
        draft_id = answer.json()["location"].split("/")[2]
        with self.told.lock:
            self.told.drafts.add(hashlib.sha256(log.encode()).hexdigest())
        for _ in range(rng.randint(1, 3)):
            self._add(rng, draft_id, token)
        self.next_file()

    def _add(self, rng: random.Random, draft_id: str, token: str) -> None:
        size = (rng.randint(40, 400), rng.randint(40, 400))
        picture = io.BytesIO()
        Image.effect_noise(size, 60).convert("RGB").save(picture, "JPEG")
        answer, n_lost = self.until_told(
            "POST",
            f"/send/{draft_id}/photos",
            lambda: {
                "data": {"csrf_token": token, "subject": rng.choice(["plate", "rig"])},
                "files": {"photo": ("p.jpg", picture.getvalue())},
            },
        )
        if answer is None or (answer.status_code == 409 and n_lost):  # the draft is full
            return
        assert answer.status_code == 303, f"{answer.status_code} {answer.text[:2000]}"
        with self.told.lock:
            self.told.photos.append((draft_id, size))


class _InPieces(_Person):
    """Sends files in pieces by the API, and after a lost answer goes on from where it stands.

    Every other becomes a run, the rest drafts.
    """

    def work(self, rng: random.Random) -> None:
        self.next_file()
        log = small_log(dwell_s=rng.uniform(2.0, 6.0))
        content = (log + f"3000.{self.nth:06d},0,0,1.5,120,150\n").encode()
        for_run = self.nth % 2 == 0
        about = {"file_name": "long.csv", "n_bytes": len(content), "for_run": for_run}
        answer, _ = self.until_told(
            "POST", "/api/v1/uploads", lambda: {"json": about, "headers": self.bearer}
        )
        if answer is None:
            return
        assert answer.status_code == 201, answer.text
        upload_id, sha256 = answer.json()["id"], hashlib.sha256(content).hexdigest()
        if not self._send(upload_id, content, for_run=for_run):
            return
        if for_run:
            self._make_run(upload_id, sha256)
            return
        with self.told.lock:
            self.told.drafts.add(sha256)
            self.told.n_uploads["draft"] += 1

    def _make_run(self, upload_id: str, sha256: str) -> None:
        headers = {**self.bearer, "Idempotency-Key": upload_id}
        fields = {"bench": (None, json.dumps(BENCH)), "upload": (None, upload_id)}
        answer, n_lost = self.until_told(
            "POST", "/api/v1/runs", lambda: {"files": fields, "headers": headers}
        )
        if answer is None:
            return
        assert answer.status_code in (201, 202) or (answer.status_code == 200 and n_lost), (
            f"{answer.status_code} after {n_lost} lost answers: {answer.text}"
        )
        public_id = answer.json()["id"]
        with self.told.lock:
            self.told.runs[public_id] = sha256
            self.told.n_uploads["run"] += 1
            self.told.pieces.pop(upload_id, None)
            if answer.status_code == 202:
                self.told.queued.setdefault(public_id, time.monotonic())

    def _send(self, upload_id: str, content: bytes, *, for_run: bool) -> bool:
        """True once the file is whole; False where the load ends before."""
        path, at = f"/api/v1/uploads/{upload_id}", 0
        step = len(content) // N_PIECES + 1
        while self.load.goes_on:
            if for_run and at == len(content):
                return True
            piece = content[at : at + step]
            headers = {
                **self.bearer,
                "Upload-Offset": str(at),
                "Content-Type": "application/partial-upload",
            }
            answer = self.ask("PATCH", path, content=_in_blocks(piece), headers=headers)
            if answer is not None and answer.status_code == 201:
                return True
            if answer is not None and answer.status_code == 200:
                at = int(answer.headers["Upload-Offset"])
                with self.told.lock:
                    self.told.pieces[upload_id] = at
                continue
            stands, _ = self.until_told("GET", path, lambda: {"headers": self.bearer})
            if stands is None:
                return False
            if stands.status_code == 404:  # it had become a draft
                assert not for_run
                assert at + len(piece) == len(content), "an upload is gone before its end"
                return True
            told_at = int(stands.headers["Upload-Offset"])
            assert at <= told_at <= len(content), f"it stood at {at}, now at {told_at}"
            at = told_at
        return False


def _in_blocks(piece: bytes) -> Iterator[bytes]:
    half = len(piece) // 2
    for block in (piece[:half], piece[half:]):
        time.sleep(0.01)
        yield block


def _slowly(log: bytes, bench: dict[str, object]) -> Iterator[bytes]:
    """The body in pieces, as a network brings it."""
    yield (
        b'--x\r\nContent-Disposition: form-data; name="bench"\r\n\r\n'
        + json.dumps(bench).encode()
        + b'\r\n--x\r\nContent-Disposition: form-data; name="file"; filename="run.csv"\r\n\r\n'
    )
    step = len(log) // 6 + 1
    for start in range(0, len(log), step):
        time.sleep(0.015)
        yield log[start : start + step]
    yield b"\r\n--x--\r\n"
