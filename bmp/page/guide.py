"""The guide as pages: headings, paragraphs, lists, tables, pictures and links of its Markdown."""

from __future__ import annotations

import re
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any, Final

from flask import Blueprint, Response, abort, render_template
from markupsafe import Markup, escape

from bmp.page.guard import policy
from bmp.page.pictures import FIGURE, without_styles

pages = Blueprint("guide", __name__)

GUIDE: Final = files("bmp") / "guide"
_LINK = re.compile(r"!?\[([^\]]*)\]\(([^)\s]+)\)")
_BOLD, _SLANTED, _CODE = (re.compile(p) for p in (r"\*\*(.+?)\*\*", r"\*(.+?)\*", r"`([^`]+)`"))


@pages.get("/guide/")
def contents() -> str:
    """List the parts of the guide."""
    found = sorted(one.name for one in GUIDE.iterdir() if one.name.endswith(".md"))
    parts = [(name.removesuffix(".md"), _title(GUIDE / name)) for name in found]
    parts.insert(0, ("reading_errors/index", _title(GUIDE / "reading_errors" / "index.md")))
    return render_template("guide.html", title="Guide", parts=parts, text="")


@pages.get("/guide/<path:name>")
def part(name: str) -> Any:
    """Show one part, or one of its pictures."""
    if not re.fullmatch(r"(reading_errors/)?[\w-]+(\.md|\.svg)?", name):
        abort(404, "There is no such part of the guide.")
    is_picture = name.endswith(".svg")
    place = GUIDE.joinpath(*name.removesuffix(".md").split("/")) if is_picture else None
    page = GUIDE.joinpath(*(name.removesuffix(".md") + ".md").split("/"))
    if place is not None and place.is_file():
        text = without_styles(place.read_text(encoding="utf-8"))
        headers = {"Content-Security-Policy": policy()}
        return Response(text, mimetype="image/svg+xml", headers=headers)
    if is_picture or not page.is_file():
        abort(404, "There is no such part of the guide.")
    text = page.read_text(encoding="utf-8")
    return render_template("guide.html", title=_title(page), parts=[], text=as_html(text))


def _title(page: Traversable) -> str:
    return page.read_text(encoding="utf-8").partition("\n")[0].lstrip("# ").strip()


def as_html(text: str) -> Markup:
    """Return Markdown as HTML, every word of it escaped."""
    out: list[str] = []
    blocks = re.split(r"\n\s*\n", text.strip())
    for number, block in enumerate(blocks):
        lines = block.splitlines()
        heading = re.match(r"(#+) (.*)", lines[0])
        if heading:
            out.append(f"<h{len(heading[1])}>{_line(heading[2])}</h{len(heading[1])}>")
            lines = lines[1:]
        if not lines:
            continue
        if lines[0].startswith("|"):
            out.append(_table(lines, number))
        elif re.match(r"(\*|-|\d+\.) ", lines[0]):
            out.append(_list(lines))
        elif lines[0].startswith("```") or lines[0].startswith("    "):
            out.append(f"<pre>{escape(block.strip('`'))}</pre>")
        elif lines[0].startswith("!["):
            out.append(f"{FIGURE}{_line(' '.join(lines))}</figure>")
        else:
            out.append(f"<p>{_line(' '.join(lines))}</p>")
    return Markup("\n".join(out))  # escaped line by line


def _table(lines: list[str], number: int) -> str:
    rows = [[cell.strip() for cell in line.strip().strip("|").split("|")] for line in lines]
    head = "".join(f'<th scope="col">{_line(cell)}</th>' for cell in rows[0])
    body = "".join(
        "<tr>" + "".join(f"<td>{_line(cell)}</td>" for cell in row) + "</tr>" for row in rows[2:]
    )
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="Table {number}">'
        f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _list(lines: list[str]) -> str:
    items: list[str] = []
    for line in lines:
        start = re.match(r"(\*|-|\d+\.) (.*)", line)
        if start:
            items.append(start[2])
        else:
            items[-1] += " " + line.strip()
    tag = "ol" if lines[0][0].isdigit() else "ul"
    return f"<{tag}>" + "".join(f"<li>{_line(item)}</li>" for item in items) + f"</{tag}>"


def _line(text: str) -> str:
    html = str(escape(text))
    html = _CODE.sub(r"<code>\1</code>", html)
    html = _LINK.sub(_link, html)
    return _SLANTED.sub(r"<em>\1</em>", _BOLD.sub(r"<strong>\1</strong>", html))


def _link(match: re.Match[str]) -> str:
    words, place = match[1], match[2]
    if match[0].startswith("!"):
        return f'<img class="guide-picture" src="{place}" alt="{words}">'
    if not re.fullmatch(r"(\.\./|reading_errors/)?[\w-]+\.md(#[\w-]*)?", place):
        return words
    return f'<a href="{place.partition("#")[0].removesuffix(".md")}">{words}</a>'


def page_of(check: str) -> str:
    """Return the part of the guide that a check of the readings has; empty: it has none."""
    from bmp.judge.reading_errors import READING_ERRORS

    return next(
        (f"reading_errors/{one.page}" for one in READING_ERRORS if one.name == check), "validity"
    )
