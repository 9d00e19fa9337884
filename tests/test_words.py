"""The text that people read: short sentences, everyday words.

Read are the sentences in the program's strings and in its templates. A string that is no sentence
(a pattern, a page's frame, a table of commands) is named in `NO_SENTENCE`.
"""

from __future__ import annotations

import ast
import csv
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from jinja2 import Environment

PACKAGE = Path(__file__).parents[1] / "bmp"
MOST_WORDS = 25
# Words that a pupil or a reader whose second language is English stumbles over.
ODD = re.compile(
    r"\b(sisters?|nought|fore(?:tell|told)|untold|mend(?:s|ed)?|hand(?:ed)? in|by lot"
    r"|taken for granted|tak(?:e|es|en|ing) off|set against|stands? at|beside|slips?"
    r"|(?:cannot be|is|be|are|was) told|told from|tells? (?:its|from)|relied upon|whatever it"
    r"|(?:meat|carbon) side|seeds?|wishes)\b",
    re.IGNORECASE,
)
NO_SENTENCE = {
    "read/takeover/vocabulary.py": "patterns of column names",
    "page/entrance.py": "the frame of a page",
    "commands/start.py": "a table of commands",
}
# Tables that the guide prints, in Markdown.
MARKDOWN = {"report/guide_tables.py", "plan/items.csv", "read/columns.csv"}
BLOCKS = frozenset(
    "p li td th tr h1 h2 h3 h4 dt dd div section summary label option button".split()  # noqa: SIM905
)


def strings(module: ast.Module) -> Iterator[str]:
    """Yield every string of a module that is no docstring; what a format fills in is “1”."""
    inside = {id(part) for node in ast.walk(module) for part in _parts(node)}
    for node in ast.walk(module):
        if id(node) in inside:
            continue
        if isinstance(node, ast.JoinedStr):
            parts = (v.value if isinstance(v, ast.Constant) else "1" for v in node.values)
            yield "".join(str(part) for part in parts)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def _parts(node: ast.AST) -> list[ast.AST]:
    """Return what of a node stands in a longer string, or is a docstring."""
    if isinstance(node, ast.JoinedStr):
        return [value for value in node.values if isinstance(value, ast.Constant)]
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return [node.value]
    return []


class Blocks(HTMLParser):
    """Collects the text of a page block by block."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.blocks, self.silent = [""], 0
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.silent += tag in ("script", "style")
        if tag in BLOCKS:
            self.blocks.append("")

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in ("script", "style")
        if tag in BLOCKS:
            self.blocks.append("")

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.blocks[-1] += data


def blocks_of(template: str) -> list[str]:
    """Return the blocks of text of a template; what a value fills in is “1”, branches part it."""
    page, inside = [], ""
    for _, kind, text in Environment().lex(template):
        if kind in ("variable_begin", "block_begin", "comment_begin"):
            inside = kind
        elif kind in ("variable_end", "block_end", "comment_end"):
            page.append("1" if inside == "variable_begin" else "<tr>")
            inside = ""
        elif not inside and kind == "data":
            page.append(text)
    return Blocks("".join(page)).blocks


def sentences(text: str) -> list[str]:
    return [one for one in re.split(r"(?<=[.!?])\s+|\n\s*\n", text) if " " in one.strip()]


def words(sentence: str) -> int:
    return len(re.findall(r"[^\W\d_]{2,}|\d[\d.,]*", sentence))


def text_for_people() -> Iterator[tuple[str, str]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        name = path.relative_to(PACKAGE).as_posix()
        if name not in NO_SENTENCE:
            for text in strings(ast.parse(path.read_text("utf-8"))):
                yield from ((name, one) for one in sentences(text))
    for path in sorted(PACKAGE.rglob("*.csv")):
        name = path.relative_to(PACKAGE).as_posix()
        for cell in {
            cell for row in csv.reader(path.read_text("utf-8").splitlines()) for cell in row
        }:
            yield from ((name, one) for one in sentences(cell))
    for ending in ("*.html", "*.j2"):
        for path in sorted(PACKAGE.rglob(ending)):
            name = path.relative_to(PACKAGE).as_posix()
            if name.startswith("guide/rendered/"):
                continue
            for text in blocks_of(path.read_text("utf-8")):
                yield from ((name, one) for one in sentences(text))


def test_no_sentence_is_long() -> None:
    found = [
        f"{name}: {words(one)} words: {' '.join(one.split())}"
        for name, one in text_for_people()
        if words(one) > MOST_WORDS
    ]
    assert found == []


def test_no_backtick() -> None:
    found = [
        f"{name}: {' '.join(one.split())}"
        for name, one in text_for_people()
        if "`" in one and name not in MARKDOWN
    ]
    assert found == []


def test_no_odd_word() -> None:
    found = [
        f"{name}: “{odd.group(0)}” in: {' '.join(one.split())}"
        for name, one in text_for_people()
        for odd in ODD.finditer(one)
    ]
    assert found == []


@pytest.mark.parametrize(
    ("template", "blocks"),
    [
        ("<p>One {{ a }} two.</p><p>Three</p>", ["One 1 two.", "Three"]),
        ("{% if a %}One{% else %}two{% endif %}", ["One", "two"]),
        ("<style>p { x: y }</style><p>One <b>two</b></p>{# three #}", ["One two"]),
    ],
)
def test_templates_are_read_block_by_block(template: str, blocks: list[str]) -> None:
    assert [text for text in blocks_of(template) if text.strip()] == blocks


def test_strings_are_read_whole_and_without_docstrings() -> None:
    module = ast.parse('"""Doc."""\ndef f(x):\n    """Doc."""\n    return f"a {x:.1f} b", "c"\n')
    assert sorted(set(strings(module))) == [".1f", "a 1 b", "c"]
