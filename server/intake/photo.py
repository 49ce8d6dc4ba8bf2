"""A photograph as it may be shown: decoded within bounds, turned upright, drawn anew without a word
of what came with it."""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from server.errors import Problem, TooLarge, Unusable

if TYPE_CHECKING:
    from PIL.Image import Image as Picture

MOST_PIXELS = 40_000_000
LONGEST = 2048
LONGEST_SMALL = 360
_QUALITY = 85
_FORMATS = ("JPEG", "PNG", "WEBP")
_STARTS = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF")
_COVER = (0, 0, 0)

# Left, top, right, bottom as shares of width and height.
Cover = tuple[float, float, float, float]


class UnusablePhoto(Unusable):
    """A file that is no photograph we can show."""


@dataclass(frozen=True, slots=True)
class DrawnPhoto:
    """JPEG without metadata, and its small form."""

    jpeg: bytes
    small: bytes
    width: int
    height: int


def check_photo_start(start: bytes, *, name: str) -> None:
    """Raises UnusablePhoto for what is plainly no JPEG, PNG or WEBP."""
    if start.startswith(_STARTS) and (start[:4] != b"RIFF" or start[8:12] == b"WEBP"):
        return
    what = "this is no JPEG, PNG or WEBP picture."
    if start[4:12] in (b"ftypheic", b"ftypheix", b"ftypmif1", b"ftyphevc"):
        what = "this is a HEIC picture, which browsers don't show."
    remedy = "Set the camera to JPEG (“most compatible”), or send a screenshot of it."
    raise UnusablePhoto(name, [Problem(what, remedy, field="photo")])


def draw_photo(path: Path, *, name: str, covers: Sequence[Cover] = ()) -> DrawnPhoto:
    """Decode a photograph and draw it anew.

    Parameters
    ----------
    covers : parts painted over (a serial number, a face), on the picture turned upright.

    Raises
    ------
    UnusablePhoto: damaged, or no picture of a known kind. TooLarge: over MOST_PIXELS, which is seen
    in its head before anything is decoded.
    """
    from PIL import Image, ImageDraw, ImageOps

    # Every reader of pictures fails in its own ways on a damaged file; here all mean the same.
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(path, formats=_FORMATS) as opened:
                _check_size(opened, name=name)
                opened.draft("RGB", (2 * LONGEST, 2 * LONGEST))
                opened.load()
                opened.thumbnail((LONGEST, LONGEST))
                upright = ImageOps.exif_transpose(opened)
                picture = _plain(upright)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_large(name) from error
    except TooLarge:
        raise
    except Exception as error:
        problem = Problem("the picture is damaged.", "Take or export it again.", field="photo")
        raise UnusablePhoto(name, [problem]) from error
    pen = ImageDraw.Draw(picture)
    width, height = picture.size
    for left, top, right, bottom in covers:
        pen.rectangle((left * width, top * height, right * width, bottom * height), fill=_COVER)
    small = picture.copy()
    small.thumbnail((LONGEST_SMALL, LONGEST_SMALL))
    return DrawnPhoto(_jpeg(picture), _jpeg(small), width, height)


def _check_size(picture: Picture, *, name: str) -> None:
    if picture.width * picture.height > MOST_PIXELS:
        raise _too_large(name)


def _too_large(name: str) -> TooLarge:
    return TooLarge(f"{name} has more than {MOST_PIXELS // 1_000_000} megapixels. Make it smaller.")


def _plain(picture: Picture) -> Picture:
    """The same pixels on white and nothing else: no place, camera, comment or profile."""
    from PIL import Image

    plain = Image.new("RGB", picture.size, (255, 255, 255))
    shown = picture.convert("RGBA") if picture.mode in {"RGBA", "LA", "P", "PA"} else None
    if shown is not None:
        plain.paste(shown, mask=shown.getchannel("A"))
    else:
        plain.paste(picture.convert("RGB"))
    return plain


def _jpeg(picture: Picture) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return out.getvalue()
