"""Style sheets, scripts and pictures: compressed ahead, kept for long under a digest.

`build_static` writes `web/static-built` from `web/static` with brotli, gzip and zstd variants
beside each file that gets smaller. An address is `/static/<path>?v=<digest>`.
"""

import gzip
import hashlib
import json
import shutil
import tempfile
from functools import cache
from pathlib import Path

from servestatic.asgi import ServeStaticASGI
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

WEB = Path(__file__).parent.parent / "web"
SOURCE = WEB / "static"
BUILT = WEB / "static-built"
PREFIX = "/static"
_MANIFEST = ".manifest.json"
_COMPRESSED = {".css", ".js", ".mjs", ".svg", ".json", ".txt", ".webmanifest", ".map"}
_LONG = "public, max-age=31536000, immutable"


def static_url(path: str) -> str:
    """Address of a static file, with the digest of what it holds now.

    Raises
    ------
    FileNotFoundError: no such file; a page must not name one that isn't there.
    """
    digest = _digests().get(path)
    if digest is None:
        raise FileNotFoundError(f"web/static/{path}")
    return f"{PREFIX}/{path}?v={digest}"


@cache
def _digests() -> dict[str, str]:
    return _read_digests(SOURCE)


def _read_digests(source: Path) -> dict[str, str]:
    return {
        path.relative_to(source).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()[:12]
        for path in sorted(source.rglob("*"))
        if path.is_file()
    }


def is_built(source: Path = SOURCE, built: Path = BUILT) -> bool:
    """Whether the built folder holds exactly what the source holds now."""
    manifest = built / _MANIFEST
    return manifest.is_file() and json.loads(manifest.read_text()) == _read_digests(source)


def build_static(source: Path = SOURCE, built: Path = BUILT) -> bool:
    """Write the built folder if it is stale; True if it was written. Safe to run side by side."""
    if is_built(source, built):
        return False
    built.parent.mkdir(parents=True, exist_ok=True)
    fresh = Path(tempfile.mkdtemp(prefix="static-", dir=built.parent))
    try:
        digests = _read_digests(source)
        for name in digests:
            target = fresh / name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source / name, target)
            if target.suffix in _COMPRESSED:
                _write_variants(target)
        (fresh / _MANIFEST).write_text(json.dumps(digests))
        fresh.chmod(0o755)
        shutil.rmtree(built, ignore_errors=True)
        try:
            fresh.rename(built)
        except OSError:
            if not is_built(source, built):  # else another process was quicker
                raise
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    return True


def _write_variants(path: Path) -> None:
    import brotli  # type: ignore[import-untyped]
    import zstandard

    content = path.read_bytes()
    for suffix, packed in (
        (".br", brotli.compress(content, quality=11)),
        (".gz", gzip.compress(content, 9, mtime=0)),
        (".zstd", zstandard.ZstdCompressor(level=19).compress(content)),
    ):
        if len(packed) < len(content):
            path.with_name(path.name + suffix).write_bytes(packed)


def static_app() -> ASGIApp:
    """The files as an application; the built folder where it is fresh, else the source."""
    root = BUILT if is_built(SOURCE, BUILT) else SOURCE
    files = ServeStaticASGI(None, root=root, prefix=PREFIX, max_age=None, allow_all_origins=False)
    digests = _digests()

    async def serve(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return
        name = scope["path"].removeprefix(f"{PREFIX}/")
        wanted = f"v={digests.get(name)}".encode()
        is_named = name in digests and scope["query_string"] == wanted

        async def send_with_age(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["Cache-Control"] = _LONG if is_named else "no-cache"
            await send(message)

        await files(scope, receive, send_with_age)

    return serve


if __name__ == "__main__":
    print("static files built" if build_static() else "static files are up to date")
