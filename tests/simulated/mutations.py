"""Mutated uploads through the service's own actions: each is stored whole or refused with a reason.

    python -m tests.simulated.mutations --n 10000 [--seed 7]

Half are text, half XLSX; half of each are harmless (line ends, quoting, spaces, column order,
trailing blanks, encodings), the others damaged. Prints the counts and ends with 1 if anything else
came out, if less than 99 % of the harmless gave equal figures, if memory passed 1 GiB, or if a
file or row is left that nothing refers to.
"""

from __future__ import annotations

import argparse
import io
import os
import random
import resource
import sys
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sqlalchemy as sa

from server.actions.issue_token import issue_token
from server.actions.keep_recording import keep_recording
from server.actions.prepare_run import prepare_run
from server.actions.reduce_log import limits_of
from server.actions.submit_run import submit_run
from server.actions.sweep_files import sweep_files
from server.errors import BenchledgerError, Unusable
from server.intake import bench_from_mapping
from server.model.bench import Bench
from server.model.views import Tester
from server.settings import Settings
from server.store import people
from server.store import tables as t
from server.store.database import make_engine, migrate, read_session, write_session
from server.store.files import keep_upload_from
from tests.api.logs import BENCH, small_log
from tests.intake.sheets import log_rows, workbook

LOG = small_log(torques_nm=(0.0, 0.15, 0.3, 0.45, 0.6), dwell_s=1.0)
ROWS = log_rows(LOG)
SHARE_EQUAL = 0.99
MOST_BYTES = 1 << 30
SAME_REL = 1e-9
Figures = dict[str, tuple[float | None, float | None]]


@dataclass
class Counts:
    """What came of the uploads. `wrong`: whatever was neither stored nor refused with a reason."""

    seen: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    unequal: list[str] = field(default_factory=list)

    @property
    def share_equal(self) -> float:
        n = self.seen["harmless"]
        return self.seen["harmless, equal figures"] / n if n else 1.0


def shuffled(rng: random.Random) -> list[list[object]]:
    order = list(range(len(ROWS[0])))
    rng.shuffle(order)
    return [[row[i] for i in order] for row in ROWS]


def lines_of(rows: list[list[object]], separator: str, mark: str) -> list[str]:
    return [
        separator.join(str(c).replace(".", mark) if isinstance(c, float) else str(c) for c in row)
        for row in rows
    ]


def harmless_text(rng: random.Random) -> tuple[str, bytes]:
    """The same readings, written another way."""
    rows = shuffled(rng) if rng.random() < 0.4 else [list(row) for row in ROWS]
    separator, mark = rng.choice(((",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ",")))
    lines = lines_of(rows, separator, mark)
    told = [f"“{separator}” “{mark}”"]
    if rng.random() < 0.3:
        told.append("quoted")
        lines = [separator.join(f'"{c}"' for c in line.split(separator)) for line in lines]
    if rng.random() < 0.3:
        told.append("padded")
        lines = [
            lines[0],
            *(separator.join(f"{c} " for c in line.split(separator)) for line in lines[1:]),
        ]
    if rng.random() < 0.3:
        told.append("separator at the end")
        lines = [line + separator for line in lines]
    end = rng.choice(("\n", "\r\n", "\r"))
    text = end.join(lines) + end * rng.choice((1, 1, 2, 5))
    if rng.random() < 0.2:
        text += " " * rng.randrange(1, 4) + end
    encoding = rng.choice(("utf-8", "utf-8", "utf-8-sig", "utf-16"))
    told += [repr(end), encoding]
    return ", ".join(told), text.encode(encoding)


def harmless_sheet(rng: random.Random) -> tuple[str, bytes]:
    rows = shuffled(rng) if rng.random() < 0.5 else [list(row) for row in ROWS]
    told = []
    if rng.random() < 0.3:
        told.append("a blank column on the left")
        rows = [[None, *row] for row in rows]
    if rng.random() < 0.3:
        told.append("blank rows above")
        rows = [*([[]] * rng.randrange(1, 4)), *rows]
    if rng.random() < 0.3:
        told.append("blank cells at the end")
        rows = [[*row, None, " "] for row in rows] + [[None], [" "]]
    if rng.random() < 0.3:
        told.append("names with blanks around")
        first = next(i for i, row in enumerate(rows) if row)
        rows[first] = [f" {c} " if isinstance(c, str) and c.strip() else c for c in rows[first]]
    if rng.random() < 0.3:
        told.append("figures as words")
        rows = [[repr(c) if isinstance(c, float) else c for c in row] for row in rows]
    more = {"Notes": [["nothing"], ["to see"]]} if rng.random() < 0.3 else None
    return ", ".join(["sheet", *told]), workbook(rows, more=more)


def bitten(rng: random.Random, content: bytes, tokens: tuple[bytes, ...]) -> bytes:
    data = bytearray(content)
    for _ in range(rng.choice((1, 1, 2, 5, 20))):
        at = rng.randrange(len(data) + 1)
        what = rng.random()
        if what < 0.4:
            data[at:at] = rng.choice(tokens)
        elif what < 0.6:
            del data[at : at + rng.choice((1, 3, 20, 400))]
        elif what < 0.85:
            data[at : at + 1] = bytes([rng.randrange(256)])
        elif what < 0.92:
            data = data[:at] or bytearray(b" ")
        else:
            other = rng.randrange(len(data) + 1)
            data[at:at] = data[other : other + 60]
    return bytes(data)


TEXT_TOKENS = (
    *(c.encode() for c in ",; .:-#('\t\n\r\"°"),
    *(b"OL", b"nan", b"1e400", b"12:30", b"[V]", b"9" * 30, b"\x00", b"=1+1"),
    *(b"\xff", b"\xef\xbb\xbf", b"PK\x03\x04"),
)
XML_TOKENS = (
    b"<!DOCTYPE x>", b"</row>", b"<row r=\"5\">", b"<v>", b"</v>", b"<c>", b"&amp;", b"&x;",
    b"<f>1</f>", b't="s"', b't="e"', b"<v>1e999</v>", b"NaN", b"\x00", b"]]>", b"<!--",
)  # fmt: skip
SHEETS = [workbook(ROWS), workbook(ROWS, more={"B": ROWS[:30]})]


def damaged_text(rng: random.Random) -> tuple[str, bytes]:
    return "damaged text", bitten(rng, LOG.encode(), TEXT_TOKENS)


def damaged_sheet(rng: random.Random) -> tuple[str, bytes]:
    """The zipped bytes bitten, or a part of it before it is zipped."""
    book = rng.choice(SHEETS)
    if rng.random() < 0.4:
        return "damaged zip", bitten(rng, book, XML_TOKENS)
    with zipfile.ZipFile(io.BytesIO(book)) as archive:
        names = archive.namelist()
        wanted = [n for n in names if "sheet1" in n or "sharedStrings" in n or "workbook.xml" in n]
        name = rng.choice(wanted) if rng.random() < 0.7 else rng.choice(names)
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
            for one in names:
                part = archive.read(one)
                new.writestr(one, bitten(rng, part, XML_TOKENS) if one == name else part)
    return f"damaged {name}", out.getvalue()


MAKERS: tuple[tuple[bool, str, Callable[[random.Random], tuple[str, bytes]]], ...] = (
    (True, "csv", harmless_text),
    (True, "xlsx", harmless_sheet),
    (False, "csv", damaged_text),
    (False, "xlsx", damaged_sheet),
)


def described(number: int) -> Bench:
    """Fifty runs to an appliance, as busy ones have."""
    appliance = {"maker": "Millbeck", "model": f"M{number // 50}", "category": "router"}
    return bench_from_mapping({**BENCH, "appliance": appliance})


class Ledger:
    """A ledger of its own, and what the readings give in it unmutated."""

    def __init__(self, data: Path) -> None:
        self.settings = Settings(data=data)
        data.mkdir(parents=True, exist_ok=True)
        migrate(self.settings)
        self.engine = make_engine(self.settings)
        with write_session(self.engine) as session:
            token = issue_token(session, tester="Ada Quill").token
        with read_session(self.engine) as session:
            found = people.tester_for_token(session, token=token)
        assert isinstance(found, Tester)
        self.tester = found
        self.sent = data / "sent"
        self.truth, _ = self.send(0, "run.csv", LOG.encode())

    def send(self, number: int, name: str, content: bytes) -> tuple[Figures, str]:
        """One upload as a request makes it: kept, read, reduced, stored in one write."""
        self.sent.write_bytes(content)
        bench = described(number)
        settings = self.settings
        upload = keep_upload_from(settings.files, self.sent, name=name)
        prepared = prepare_run(
            upload.path, file_name=name, bench=bench, limits=limits_of(settings),
            sha256=upload.sha256,
        )  # fmt: skip
        with write_session(self.engine) as session:
            done = submit_run(
                session, prepared=prepared, upload=upload, bench=bench, tester=self.tester
            )
        recording, key = prepared.log.recording, prepared.recording_sha256
        keep_recording(recording, sha256=key, files=settings.files)
        metrics = prepared.reduction.metrics
        figures = {n.value: (m.value, m.standard_uncertainty) for n, m in metrics.items()}
        return figures, done.public_id

    def left_over(self) -> list[str]:
        """Files and rows that nothing refers to, after a sweep."""
        files = self.settings.files
        sweep_files(self.engine, files=files, min_age_s=0)
        with read_session(self.engine) as session:
            stored = set(session.execute(sa.select(t.StoredFileRow.sha256)).scalars())
            recorded = set(session.execute(sa.select(t.RecordingRow.sha256)).scalars())
            revision = t.RunRevisionRow
            used = set(session.execute(sa.select(revision.file_sha256)).scalars())
            read = set(session.execute(sa.select(revision.recording_sha256)).scalars())
            bare = session.execute(
                sa.select(sa.func.count()).select_from(t.RunRow).where(
                    sa.or_(t.RunRow.current_set_id.is_(None),
                           t.RunRow.current_revision_id.is_(None))
                )
            ).scalar_one()  # fmt: skip
        originals = {p.name for p in (files / "originals").rglob("*") if p.is_file()}
        recordings = {p.stem for p in (files / "recordings").rglob("*") if p.is_file()}
        found = [f"temporary file {p.name}" for p in (files / "incoming").glob("*")]
        for told, one, other in (
            ("original", originals, stored), ("recording", recordings, recorded),
            ("file row", stored, used), ("recording row", recorded, read),
        ):  # fmt: skip
            found += [f"{told} {name} on one side alone" for name in sorted(one ^ other)[:5]]
        return found + ([f"{bare} runs without figures"] if bare else [])


def is_equal(one: Figures, other: Figures) -> bool:
    def close(a: float | None, b: float | None) -> bool:
        if a is None or b is None:
            return a is b
        return abs(a - b) <= SAME_REL * max(abs(a), abs(b))

    return one.keys() == other.keys() and all(
        close(one[n][0], other[n][0]) and close(one[n][1], other[n][1]) for n in one
    )


def run_mutations(
    n: int, *, seed: int, data: Path, say: Callable[[str], None]
) -> tuple[Counts, Ledger]:
    """Send `n` mutated uploads one after another; what came of each kind."""
    rng = random.Random(seed)
    ledger = Ledger(data)
    counts = Counts()
    for number in range(1, n + 1):
        is_harmless, ending, make = MAKERS[number % len(MAKERS)]
        told, content = make(rng)
        counts.seen["harmless" if is_harmless else "damaged"] += 1
        kind = f"{'harmless' if is_harmless else 'damaged'} {ending}"
        try:
            figures, _ = ledger.send(number, f"run.{ending}", content)
        except BenchledgerError as refusal:
            counts.seen[f"{kind}, refused"] += 1
            if isinstance(refusal, Unusable) and not all(
                p.message and p.remedy for p in refusal.problems
            ):
                counts.wrong.append(f"{number}: refused without a reason: {refusal}")
            if is_harmless:
                counts.unequal.append(f"{number}: {told}: {refusal}")
            continue
        except Exception as defect:
            counts.wrong.append(f"{number}: {told}: {type(defect).__name__}: {defect}"[:300])
            continue
        counts.seen[f"{kind}, stored"] += 1
        if is_harmless and is_equal(figures, ledger.truth):
            counts.seen["harmless, equal figures"] += 1
        elif is_harmless:
            counts.unequal.append(f"{number}: {told}: other figures")
        if number % 500 == 0:
            say(f"{number} sent")
    return counts, ledger


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    asked = parser.parse_args()
    print(f"seed {asked.seed}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        counts, ledger = run_mutations(
            asked.n, seed=asked.seed, data=Path(folder) / "data",
            say=lambda line: print(line, flush=True),
        )  # fmt: skip
        left = ledger.left_over()
        ledger.engine.dispose()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    for kind, number in sorted(counts.seen.items()):
        print(f"{number:7}  {kind}")
    print(f"{counts.share_equal:.2%} of the harmless gave equal figures")
    print(f"{peak / (1 << 20):.0f} MiB at most")
    for line in (*counts.wrong[:20], *counts.unequal[:20], *left):
        print(f"  {line}")
    is_good = not counts.wrong and not left and counts.share_equal >= SHARE_EQUAL
    return 0 if is_good and peak < MOST_BYTES else 1


if __name__ == "__main__":
    sys.exit(main())
