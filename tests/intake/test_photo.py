"""Photographs drawn anew: upright, small, without a word of what came along; bombs are refused."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import pytest
from PIL import Image

from server.errors import TooLarge
from server.intake.photo import UnusablePhoto, check_photo_start, draw_photo

SECRET = b"A. Quill, 5 Mill Lane"


def photo(
    size: tuple[int, int] = (400, 300), *, kind: str = "JPEG", orientation: int | None = None
) -> bytes:
    """Red on the left, blue on the right, with metadata wherever the format has room."""
    picture = Image.new("RGB", size, (200, 0, 0))
    picture.paste((0, 0, 200), (size[0] // 2, 0, size[0], size[1]))
    exif = Image.Exif()
    exif[0x010E] = SECRET.decode()
    exif.get_ifd(0x8825)[1] = "N"
    if orientation is not None:
        exif[0x0112] = orientation
    out = io.BytesIO()
    more = {"comment": SECRET} if kind == "JPEG" else {}
    picture.save(out, kind, exif=exif, **more)
    return out.getvalue()


def drawn(folder: Path, data: bytes, **more: object):  # type: ignore[no-untyped-def]
    path = folder / "photo"
    path.write_bytes(data)
    return draw_photo(path, name="photo.jpg", **more)  # type: ignore[arg-type]


def opened(jpeg: bytes) -> Image.Image:
    return Image.open(io.BytesIO(jpeg))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_nothing_but_pixels_is_left(tmp_path: Path, kind: str) -> None:
    sent = photo(kind=kind)
    assert SECRET in sent
    got = drawn(tmp_path, sent)
    for jpeg in (got.jpeg, got.small):
        assert SECRET not in jpeg
        assert b"Exif" not in jpeg
        picture = opened(jpeg)
        assert picture.format == "JPEG"
        assert not picture.getexif()
        assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert (got.width, got.height) == (400, 300)


def test_a_turned_photograph_stands_upright(tmp_path: Path) -> None:
    got = drawn(tmp_path, photo(orientation=6))  # to be turned a quarter clockwise
    assert (got.width, got.height) == (300, 400)
    top, bottom = opened(got.jpeg).getpixel((150, 20)), opened(got.jpeg).getpixel((150, 380))
    assert top[0] > 150
    assert bottom[2] > 150


def test_a_large_one_is_made_smaller(tmp_path: Path) -> None:
    got = drawn(tmp_path, photo((5000, 2500)))
    assert (got.width, got.height) == (2048, 1024)
    assert max(opened(got.small).size) == 360


def test_what_is_covered_is_gone(tmp_path: Path) -> None:
    got = drawn(tmp_path, photo(), covers=[(0.0, 0.0, 0.25, 0.5)])
    for jpeg in (got.jpeg, got.small):
        picture = opened(jpeg)
        width, height = picture.size
        covered = picture.getpixel((width // 8, height // 4))
        assert max(covered) < 100
        assert picture.getpixel((width // 8, height * 3 // 4))[0] > 150


def bomb(width: int, height: int) -> bytes:
    """A PNG whose head tells of more pixels than it holds."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = [(b"IHDR", head), (b"IDAT", zlib.compress(bytes(1000))), (b"IEND", b"")]
    chunks = [
        struct.pack(">I", len(body)) + name + body
        + struct.pack(">I", zlib.crc32(name + body))
        for name, body in parts
    ]  # fmt: skip
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


@pytest.mark.parametrize("size", [(6325, 6325), (20000, 20000), (60000, 60000), (2**31 - 1, 1)])
def test_too_many_pixels_are_refused_before_any_is_decoded(
    tmp_path: Path, size: tuple[int, int]
) -> None:
    with pytest.raises(TooLarge, match="40 megapixels"):
        drawn(tmp_path, bomb(*size))


@pytest.mark.parametrize(
    "data",
    [bomb(100, 100), b"GIF89a" + bytes(100), b"\xff\xd8\xff" + bytes(500), b"", photo()[:600]],
    ids=["short", "gif", "noise", "empty", "cut"],
)
def test_what_is_damaged_or_no_photograph_is_refused(tmp_path: Path, data: bytes) -> None:
    with pytest.raises(UnusablePhoto):
        drawn(tmp_path, data)


def test_what_is_no_photograph_is_seen_at_its_start() -> None:
    for kind in ("JPEG", "PNG", "WEBP"):
        check_photo_start(photo(kind=kind)[:16], name="x")
    with pytest.raises(UnusablePhoto, match="HEIC"):
        check_photo_start(b"\x00\x00\x00\x18ftypheic\x00\x00", name="x")
    for start in (b"<svg xmlns=", b"GIF89a", b"RIFF\x00\x00\x00\x00AVI ", b"%PDF-1.7", b""):
        with pytest.raises(UnusablePhoto):
            check_photo_start(start, name="x")
