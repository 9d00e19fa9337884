"""Who may ask, and what the browser may do with the answers.

The page is for this machine. A web page from elsewhere that the same browser shows must neither
read nor change anything: its requests name another origin, or come by a host name that is not ours.
"""

from __future__ import annotations

import hmac
from dataclasses import dataclass, field
from typing import Final

from flask import Flask, Response, abort, request

COOKIE: Final = "bmp-token"
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


@dataclass(frozen=True)
class Access:
    """How the page may be reached."""

    hosts: frozenset[str]
    """What the header Host may say: `127.0.0.1:8765`."""
    token: str = ""
    """What a browser must have shown that does not come by this machine's own address; empty where
    the page is not open to the network."""
    own: frozenset[str] = field(default_factory=frozenset)
    """Hosts that need no token: this machine's own address."""


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
            abort(421, "this address is not the page's own")
        if _from_elsewhere(host):
            abort(403, "requests from other pages are refused")
        if host not in access.own and not _has_token(access) and request.endpoint != "front.enter":
            abort(401, "open the link with its token that bmp page printed")
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
    entering = request.endpoint == "front.enter"
    site = request.headers.get("Sec-Fetch-Site", "none")
    return site not in ("none", "same-origin") and not entering


def _has_token(access: Access) -> bool:
    shown = request.cookies.get(COOKIE, "")
    return bool(access.token) and hmac.compare_digest(shown.encode(), access.token.encode())
