"""Render the guide as pages that open from a folder: `python -m bmp.guide.render`.

Building the wheel and an installation does it by itself, through the hook at the end. What the
tool needs at run time is only what comes out, in `bmp/guide/rendered`.
"""

from __future__ import annotations

import itertools
import json
import re
import shutil
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

GUIDE: Final = Path(__file__).parent
PROJECT: Final = GUIDE.parents[1]
RENDERED: Final = GUIDE / "rendered"
PARTS: Final = {
    "Start": ("index", "walks", "hands_on"),
    "Your tables": ("trial_files", "plan_files", "own_sheets"),
    "Method": ("method", "kinetics", "compare", "validity"),
    "Python": ("python", "python_reference"),
    "For engineers": ("developers",),
    "Reading errors": ("reading_errors/index",),
}
"""The pages in their order; those of single reading errors follow their index."""
LOOKS: Final = ("bmp/report/templates/style.css", "bmp/page/static/jar.svg")
_TABLE: Final = re.compile(r"<table>.*?</table>", re.DOTALL)


def render(out: Path, strict: bool = True) -> None:
    """Write the guide into a folder, anew.

    Parameters
    ----------
    out
        The folder.
    strict
        Whether anything that would be warned of ends it.

    Raises
    ------
    mkdocs.exceptions.MkDocsException
        A link leads nowhere, or a page is not in `PARTS`.
    """
    from mkdocs.commands.build import build
    from mkdocs.config import load_config

    with TemporaryDirectory() as folder:
        pages, made = Path(folder, "pages"), Path(folder, "made")
        _gather(pages)
        settings = str(GUIDE / "theme" / "mkdocs.yml")
        places = {"docs_dir": str(pages), "site_dir": str(made)}
        config = load_config(settings, **places, nav=_order(pages), strict=strict)
        config.plugins.on_startup(command="build", dirty=False)
        build(config)
        config.plugins.on_shutdown()
        _tidy(made)
        shutil.rmtree(out, ignore_errors=True)
        shutil.copytree(made, out)


def _gather(pages: Path) -> None:
    """Lay the guide's pages, the README as its first and DEVELOPERS.md as its last in a folder."""
    shutil.copytree(GUIDE, pages, ignore=shutil.ignore_patterns("theme", "rendered", "*.py", "__*"))
    for name, page in (("README", "index"), ("DEVELOPERS", "developers")):
        text = (PROJECT / f"{name}.md").read_text(encoding="utf-8")
        text = text.replace("](bmp/guide/", "](").replace("](DEVELOPERS.md", "](developers.md")
        (pages / f"{page}.md").write_text(text, encoding="utf-8")
        for picture in re.findall(r"!\[[^]]*\]\(([^)]+)\)", text):
            (pages / picture).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(PROJECT / picture, pages / picture)
    for place in LOOKS:
        shutil.copy(PROJECT / place, pages)


def _order(pages: Path) -> list[dict[str, list[str]]]:
    order = {part: [f"{name}.md" for name in names] for part, names in PARTS.items()}
    errors = sorted(f"reading_errors/{one.name}" for one in (pages / "reading_errors").glob("*.md"))
    order["Reading errors"] += [one for one in errors if one not in order["Reading errors"]]
    return [{part: names} for part, names in order.items()]


def _tidy(made: Path) -> None:
    """Let what is wide be moved sideways, make the search a script, and drop what no one opens."""
    for page in made.rglob("*.html"):
        page.write_text(_scrollable(page.read_text(encoding="utf-8")), encoding="utf-8")
    found = json.loads((made / "search" / "search_index.json").read_text(encoding="utf-8"))["docs"]
    # by headings only: a page as a whole would stand there a second time
    index = json.dumps([one for one in found if "#" in one["location"]], ensure_ascii=False)
    (made / "search_index.js").write_text(f"const SEARCH_INDEX = {index};\n", encoding="utf-8")
    for folder in ("search", "assets"):
        shutil.rmtree(made / folder)
    for name in ("sitemap.xml", "sitemap.xml.gz", "mkdocs.yml", "objects.inv"):
        (made / name).unlink(missing_ok=True)


def _scrollable(html: str) -> str:
    numbers = itertools.count(1)
    box = '<div class="wide" tabindex="0" role="region" aria-label="Table {}">{}</div>'
    html = _TABLE.sub(lambda table: box.format(next(numbers), table[0]), html)
    return re.sub(r"<pre(?=[ >])", '<pre tabindex="0"', html)


class RenderHook(BuildHookInterface):  # type: ignore[type-arg]
    """Renders the guide before a wheel or an installation is made."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Render into the source tree, from where the wheel takes it.

        A word that a later renderer has to say must not keep anyone from installing.
        """
        render(RENDERED, strict=False)


if __name__ == "__main__":
    render(RENDERED)
    print(RENDERED / "index.html")
