"""Static files: one stylesheet out of its parts, addresses that carry a mark of their content, compressed once.

Browsers take Brotli only over HTTPS, and a workshop's pages mostly come over plain HTTP: so gzip, once per process.
"""

from __future__ import annotations

import gzip
import hashlib
import mimetypes
from functools import cache
from pathlib import Path

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

STATIC = Path(__file__).parent / "static"
STYLES = STATIC / "styles"
STYLESHEET = "page.css"
KEPT_FOR_GOOD = "public, max-age=31536000, immutable"
KEPT_UNTIL_ASKED = "no-cache"
WORTH_COMPRESSING = (".js", ".css", ".svg", ".txt", ".webmanifest")


def content(name: str) -> bytes | None:
    """Return a static file by its name below ``static``; None where there is none. The stylesheet is put together."""
    if name == STYLESHEET:
        return b"".join(part.read_bytes() for part in sorted(STYLES.glob("*.css")))
    file = (STATIC / name).resolve()
    return file.read_bytes() if file.is_relative_to(STATIC) and file.is_file() else None


@cache
def _held(name: str) -> tuple[bytes, bytes, str] | None:
    """Return a file as it is, compressed (empty where that is not worth it), and the mark of its content."""
    plain = content(name)
    if plain is None:
        return None
    packed = gzip.compress(plain, 9, mtime=0) if name.endswith(WORTH_COMPRESSING) else b""
    return plain, packed, hashlib.sha256(plain).hexdigest()[:10]


def static_path(name: str) -> str:
    """Return the address of a static file, with a mark of its content so that browsers may keep it for good."""
    held = _held(name)
    return f"/static/{name}?v={held[2] if held else 'none'}"


def answer(request: Request, name: str) -> Response:
    """Return a static file; kept for good by browsers when the address carries its mark."""
    held = _held(name)
    if held is None:
        return PlainTextResponse("There is no such file.", 404)
    plain, packed, mark = held
    marked = request.query_params.get("v") == mark
    headers = {
        "cache-control": KEPT_FOR_GOOD if marked else KEPT_UNTIL_ASKED,
        "etag": f'"{mark}"',
        "vary": "accept-encoding",
    }
    if request.headers.get("if-none-match") == headers["etag"]:
        return Response(status_code=304, headers=headers)
    kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
    if packed and "gzip" in request.headers.get("accept-encoding", ""):
        return Response(packed, media_type=kind, headers=headers | {"content-encoding": "gzip"})
    return Response(plain, media_type=kind, headers=headers)
