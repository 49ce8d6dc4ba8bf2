"""Static files: named by what they hold, compressed ahead, kept for long only under that name."""

from pathlib import Path

import brotli
import pytest
from fastapi.testclient import TestClient

from server import static_files
from server.app import create_app
from server.static_files import SOURCE, build_static, is_built, static_url

STYLE = next(path.relative_to(SOURCE).as_posix() for path in sorted(SOURCE.rglob("*.css")))


def test_an_address_names_the_content(client) -> None:
    address = static_url(STYLE)
    assert address.startswith(f"/static/{STYLE}?v=")
    answer = client.get(address)
    assert answer.status_code == 200
    assert answer.content == (SOURCE / STYLE).read_bytes()
    assert answer.headers["content-type"].startswith("text/css")
    assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"


@pytest.mark.parametrize("query", ["", "?v=", "?v=000000000000"])
def test_under_another_name_it_is_asked_after_each_time(client, query: str) -> None:
    answer = client.get(f"/static/{STYLE}{query}")
    assert answer.headers["cache-control"] == "no-cache"


def test_a_file_that_is_not_there_is_no_address(client) -> None:
    with pytest.raises(FileNotFoundError):
        static_url("none.css")
    assert client.get("/static/none.css").status_code == 404
    assert client.get("/static/../server/app.py").status_code == 404
    assert client.get("/static/%2e%2e/%2e%2e/pyproject.toml").status_code == 404


def test_the_built_folder_holds_smaller_variants(tmp_path: Path) -> None:
    source, built = tmp_path / "static", tmp_path / "built"
    (source / "css").mkdir(parents=True)
    (source / "css" / "page.css").write_text("p { margin: 0 }\n" * 200)
    (source / "dot.png").write_bytes(b"\x89PNG")
    assert build_static(source, built)
    assert is_built(source, built)
    assert not build_static(source, built)
    variants = {path.name for path in (built / "css").iterdir()}
    assert variants == {"page.css", "page.css.br", "page.css.gz", "page.css.zstd"}
    packed = (built / "css" / "page.css.br").read_bytes()
    assert brotli.decompress(packed) == (source / "css" / "page.css").read_bytes()
    assert [path.name for path in built.glob("dot.png*")] == ["dot.png"]
    (source / "css" / "page.css").write_text("p { margin: 1px }")
    assert not is_built(source, built)
    assert build_static(source, built)
    assert (built / "css" / "page.css").read_text() == "p { margin: 1px }"


@pytest.mark.parametrize(("encoding", "suffix"), [("br", "br"), ("gzip", "gz"), ("zstd", "zstd")])
def test_a_built_file_is_sent_as_it_was_packed(
    sqlite_settings, tmp_path, monkeypatch, encoding, suffix
) -> None:
    source, built = tmp_path / "static", tmp_path / "built"
    source.mkdir()
    (source / "page.css").write_text("p { margin: 0 }\n" * 200)
    build_static(source, built)
    monkeypatch.setattr(static_files, "SOURCE", source)
    monkeypatch.setattr(static_files, "BUILT", built)
    monkeypatch.setattr(static_files, "_digests", lambda: {"page.css": "0123456789ab"})
    address = static_url("page.css")
    with (
        TestClient(create_app(sqlite_settings)) as client,
        client.stream("GET", address, headers={"Accept-Encoding": encoding}) as answer,
    ):
        sent = b"".join(answer.iter_raw())
    assert answer.headers["content-encoding"] == encoding
    assert sent == (built / f"page.css.{suffix}").read_bytes()
