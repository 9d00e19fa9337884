"""Pictures and whole pages of the report, made fit for a page that allows no styles of its own.

The strict policy forbids `style` attributes and elements. A drawing's `style="fill: none"` becomes
the attribute `fill="none"`, which looks the same; a page's one style sheet is allowed by its hash.
"""

from __future__ import annotations

import base64
import hashlib
import re
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup, escape

from bmp.page.guard import policy

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_STYLE_ATTRIBUTE = re.compile(r'\sstyle="([^"]*)"')
_STYLE_ELEMENT = re.compile(r"<style[^>]*>(.*?)</style>", re.DOTALL)
_DRAWING = re.compile(r"<svg.*?</svg>", re.DOTALL)
FIGURE = '<figure tabindex="0" role="group" aria-label="Chart; it can be moved sideways">'
# shorthand and layout properties that are no attributes of a drawing
_NO_ATTRIBUTES = ("font", "mix-blend-mode")


def drawings(drawn: Mapping[str, Figure]) -> Mapping[str, Markup]:
    """Return figures for use inside a page, by name."""
    from bmp.report.figures import save_figures
    from bmp.report.page import inline_svg

    with tempfile.TemporaryDirectory() as folder:
        texts = save_figures(drawn, Path(folder))
    return {name: Markup(without_styles(inline_svg(name, text))) for name, text in texts.items()}


def without_styles(drawing: str) -> str:
    """Return a drawing whose styles are attributes."""
    return _STYLE_ATTRIBUTE.sub(_as_attributes, _STYLE_ELEMENT.sub("", drawing))


def _as_attributes(match: re.Match[str]) -> str:
    pairs = (part.partition(":") for part in match[1].split(";"))
    return "".join(
        f' {name.strip()}="{value.strip()}"'
        for name, colon, value in pairs
        if colon and name.strip() not in _NO_ATTRIBUTES
    )


BACK = """<style>@media print {{ .back {{ display: none; }} }}</style>
<main>
<p class="back"><a href="{address}">{words}</a></p>"""


def served_page(page: str, back: tuple[str, str] | None = None) -> tuple[str, str]:
    """Return a self-contained page fit to be served, and the policy that lets its style through.

    Parameters
    ----------
    page
        HTML that we wrote, with one `main`.
    back
        Address and words of a link above it, not printed.
    """
    html = _DRAWING.sub(lambda drawing: without_styles(drawing[0]), page)
    if back is not None:
        link = BACK.format(address=escape(back[0]), words=escape(back[1]))
        html = html.replace("<main>", link, 1)
    html = _STYLE_ATTRIBUTE.sub("", html)
    hashes = " ".join(map(_hash, _STYLE_ELEMENT.findall(html)))
    return html, policy(script_src="'none'", style_src=hashes or "'none'")


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
