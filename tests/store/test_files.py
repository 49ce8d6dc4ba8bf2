"""Stored files: under their digest, durable, and swept only when nothing refers to them."""

import os
import time
from pathlib import Path

import pytest

from server.store.files import (
    INCOMING,
    ORIGINALS,
    incoming_path,
    keep_upload,
    keep_upload_from,
    original_path,
    sweep,
)

SHA = "ab" + "0" * 62


def put(files: Path, content: bytes = b"x", sha256: str = SHA) -> Path:
    temporary = incoming_path(files)
    temporary.write_bytes(content)
    return keep_upload(files, temporary, name="a.csv", sha256=sha256, n_bytes=1).path


def age(path: Path, by_s: float) -> None:
    then = time.time() - by_s
    os.utime(path, (then, then))


def sweep_all(files: Path, known: frozenset[str] = frozenset(), **named: float) -> int:
    return sweep(files, unreferenced=lambda _kind, digests: set(digests) - known, **named)


def test_a_file_is_kept_under_its_digest(tmp_path: Path) -> None:
    path = put(tmp_path)
    assert path == original_path(tmp_path, SHA)
    assert path.read_bytes() == b"x"
    assert not list((tmp_path / INCOMING).iterdir())


def test_the_digest_is_that_of_the_bytes(tmp_path: Path) -> None:
    source = tmp_path / "log.csv"
    source.write_bytes(b"abc")
    upload = keep_upload_from(tmp_path / "files", source, name="log.csv")
    assert upload.sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert upload.n_bytes == 3
    assert source.exists()


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../etc/run.csv", "run.csv"),
        ("C:\\logs\\run.csv", "run.csv"),
        ("  ", "log"),
        ("a" * 300, "a" * 200),
    ],
)
def test_a_file_name_is_only_a_name(tmp_path: Path, name: str, kept: str) -> None:
    temporary = incoming_path(tmp_path)
    temporary.write_bytes(b"x")
    assert keep_upload(tmp_path, temporary, name=name, sha256=SHA, n_bytes=1).name == kept


def test_the_same_file_again_is_made_young(tmp_path: Path) -> None:
    path = put(tmp_path)
    age(path, 7200)
    put(tmp_path)
    assert sweep_all(tmp_path) == 0
    assert path.exists()


def test_old_orphans_go_and_nothing_else(tmp_path: Path) -> None:
    orphan, young = put(tmp_path), put(tmp_path, sha256="cd" + "1" * 62)
    known = put(tmp_path, sha256="ab" + "2" * 62)
    left = incoming_path(tmp_path)
    left.write_bytes(b"half")
    for path in (orphan, known, left):
        age(path, 7200)
    assert sweep_all(tmp_path, frozenset({known.name})) == 2
    assert not orphan.exists()
    assert not left.exists()
    assert young.exists()
    assert known.exists()


def test_what_is_sent_again_during_the_sweep_stays(tmp_path: Path) -> None:
    """It was old when the sweep looked, and young when it came to remove it."""
    path = put(tmp_path)
    age(path, 7200)

    def ask(_kind: str, digests: list[str]) -> set[str]:
        put(tmp_path)
        return set(digests)

    assert sweep(tmp_path, unreferenced=ask) == 0
    assert path.exists()


def test_an_empty_folder_has_nothing_to_sweep(tmp_path: Path) -> None:
    assert sweep_all(tmp_path / "new") == 0
    assert not (tmp_path / "new" / ORIGINALS).exists()
