"""The rendered guide: it opens from a folder, leads nowhere else, and leaves nothing out."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

import bmp
from bmp.cli import main
from bmp.page import guide as page_guide
from tests.conftest import ROOT

GUIDE = ROOT / "bmp" / "guide"


class Page(HTMLParser):
    """What a page leads to, what it loads, and the places in it."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.links: list[str] = []
        self.loaded: list[str] = []
        self.places: set[str] = set()
        self.inline: list[str] = []
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        self.places |= {said[name] for name in ("id", "name") if name in said}
        if tag == "a":
            self.links.append(said.get("href", ""))
        self.loaded += [said[n] for n in ("src", "srcset") if n in said]
        if tag == "link":
            self.loaded.append(said["href"])
        if (tag == "script" and "src" not in said) or tag == "style" or "style" in said:
            self.inline.append(tag)


def pages_of(folder: Path) -> dict[Path, Page]:
    return {path: Page(path) for path in sorted(folder.rglob("*.html"))}


def test_every_link_leads_to_a_place_that_is_there(guide: Path) -> None:
    pages = pages_of(guide)
    assert len(pages) > 40
    for path, page in pages.items():
        for link in [*page.links, *page.loaded]:
            parts = urlsplit(link)
            if parts.scheme or (link == "/" and link in page.links):
                continue
            target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            assert target.is_file(), f"{path.name}: {link}"
            if parts.fragment:
                assert parts.fragment in pages[target].places, f"{path.name}: {link}"


def test_nothing_comes_from_the_network_and_nothing_tells_of_a_machine(guide: Path) -> None:
    for path, page in pages_of(guide).items():
        assert not [one for one in page.loaded if urlsplit(one).scheme], path.name
        # a strict policy lets no script or style of a page itself run
        assert page.inline == [], path.name
    told = re.compile(rf"file://|https?://|localhost|/home/|/tmp/|{re.escape(str(ROOT))}")
    for path in guide.rglob("*"):
        if path.suffix in (".html", ".js", ".css"):
            assert not told.search(path.read_text(encoding="utf-8")), path.name


def test_the_guide_has_every_page_every_function_and_every_frame(guide: Path) -> None:
    for path in GUIDE.rglob("*.md"):
        assert (guide / path.relative_to(GUIDE)).with_suffix(".html").is_file(), path.name
    text = (guide / "developers.html").read_text(encoding="utf-8")
    assert "How to add" in text
    places = Page(guide / "python_reference.html").places
    names = {*bmp.__all__, "Analysis", "Analysis.plot_net", "Analysis.yields", "Planned.jars"}
    assert {f"bmp.interface.{name}" for name in names} <= places


def test_the_search_knows_every_page(guide: Path) -> None:
    text = (guide / "search_index.js").read_text(encoding="utf-8")
    for path in guide.rglob("*.html"):
        assert f'"{path.relative_to(guide).as_posix()}' in text, path.name


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_nothing_is_warned_of(tmp_path: Path) -> None:
    pytest.importorskip("mkdocstrings")
    from bmp.guide.render import render

    render(tmp_path / "out")
    assert (tmp_path / "out" / "index.html").is_file()


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize(
    "slips",
    [
        {
            "walks.md": "# Walks\n\n[x](no_such_page.md) [y](method.md#no-such-heading)\n",
            "left_out.md": "# A page that stands in no part\n",
        },
        {"python_reference.md": "# Functions\n\n::: bmp.interface.no_such\n"},
    ],
    ids=["links", "functions"],
)
def test_what_would_lead_nowhere_is_not_rendered(
    slips: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    pytest.importorskip("mkdocstrings")
    from mkdocs.exceptions import MkDocsException

    from bmp.guide import render

    gather = render._gather

    def with_slips(pages: Path) -> None:
        gather(pages)
        for page, text in slips.items():
            (pages / page).write_text(text, encoding="utf-8")

    monkeypatch.setattr(render, "_gather", with_slips)
    with pytest.raises((MkDocsException, SystemExit)):
        render.render(tmp_path / "out")
    for said in re.findall(r"(?:no[-_]such[-_]?\w*|left_out)", f"{slips}"):
        assert said in caplog.text
    assert not (tmp_path / "out").exists()


def test_the_command_opens_it(
    guide: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    opened: list[str] = []
    monkeypatch.setattr("webbrowser.open", opened.append)
    assert main(["guide", "--no-browser"]) == 0
    assert opened == []
    assert main(["guide"]) == 0
    assert opened == [(guide / "index.html").as_uri()]
    assert str(guide / "index.html") in capsys.readouterr().out


def test_a_tree_that_was_never_installed_says_what_to_type(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(page_guide, "RENDERED", tmp_path)
    assert main(["guide"]) == 2
    assert "python -m bmp.guide.render" in capsys.readouterr().err
