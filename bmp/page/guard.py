"""Who may ask, and what the browser may do with the answers.

A browser must have shown the code of this folder once; it then holds it in a cookie. A web page
from elsewhere that the same browser shows must neither read nor change anything: its requests name
another origin, or come by a host name that is not ours. What a request says of where it comes from
never lets it in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from flask import Flask, Response, abort, request

from bmp.page.entrance import same_code

LARGEST_UPLOAD_BYTES: Final = 20_000_000
"""A workbook of a jar trial is far below 1 MB."""
POLICY: Final = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self'",
    "connect-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}
OPEN_TO_ALL: Final = ("front.enter", "static", "front.report_style", "front.icon")
"""What needs no code: the way in, and the looks of it."""


@dataclass(frozen=True)
class Access:
    """How the page may be reached."""

    hosts: frozenset[str]
    """What the header Host may say: `127.0.0.1:8765`."""
    code: str
    """What a browser must have shown."""
    cookie: str = "bmp-page"
    """Name of the cookie that holds it: cookies of all ports of a machine lie together."""


def policy(**changed: str) -> str:
    """Return the content security policy as a header."""
    rules = {**POLICY, **{name.replace("_", "-"): value for name, value in changed.items()}}
    return "; ".join(f"{name} {value}" for name, value in rules.items())


def install(app: Flask, access: Access) -> None:
    """Let no request pass that is not the page's own."""

    @app.before_request
    def look() -> Response | None:
        host = request.headers.get("Host", "")
        if host not in access.hosts:
            abort(421, "This address is not the page's own.")
        if _from_elsewhere(host):
            abort(403, "Requests from other pages are refused.")
        if request.endpoint not in OPEN_TO_ALL and not _has_code(access):
            abort(401, "This browser was not let in yet. Type the code that bmp page printed.")
        return None

    @app.after_request
    def close(response: Response) -> Response:
        headers = response.headers
        headers.setdefault("Content-Security-Policy", policy())
        headers["X-Content-Type-Options"] = "nosniff"
        headers["X-Frame-Options"] = "DENY"
        headers["Referrer-Policy"] = "same-origin"
        headers["Cross-Origin-Opener-Policy"] = "same-origin"
        headers["Cross-Origin-Resource-Policy"] = "same-origin"
        headers["Permissions-Policy"] = "camera=(), microphone=(), geolocation=()"
        headers["Cache-Control"] = "no-store"
        return response


def _from_elsewhere(host: str) -> bool:
    """Tell whether another page is behind the request.

    A change must name our own origin. Browsers send Origin with every such request, and
    Sec-Fetch-Site with every request at all; what sends neither is no browser showing a page.
    """
    origin = request.headers.get("Origin")
    if origin is not None and origin != f"http://{host}":
        return True
    if request.method not in ("GET", "HEAD") and origin is None:
        return True
    entering = request.endpoint == "front.enter" and request.method in ("GET", "HEAD")
    site = request.headers.get("Sec-Fetch-Site", "none")
    return site not in ("none", "same-origin") and not entering


def _has_code(access: Access) -> bool:
    return same_code(request.cookies.get(access.cookie, ""), access.code)
