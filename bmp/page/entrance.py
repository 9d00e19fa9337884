"""The code that lets a browser in: made once for a folder, kept where only its owner can read it.

Everybody needs it, also on this machine: other people may have an account here. Since it lasts, a
telephone that was let in once is let in again after the page was stopped and started.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import Final

LETTERS: Final = "23456789abcdefghjkmnpqrstuvwxyz"
"""Those that nobody takes for one another: a code may have to be typed on a telephone."""
GROUPS, IN_A_GROUP = 3, 4
OPENER: Final = "open-the-page.html"
"""File that leads a browser in: a link on a command line could be read by other people."""


def new_code() -> str:
    """Return a code of 12 letters, 59 bits."""
    letters = [secrets.choice(LETTERS) for _ in range(GROUPS * IN_A_GROUP)]
    return "-".join("".join(letters[i::GROUPS]) for i in range(GROUPS))


def plain(code: str) -> str:
    """Return a code as it is compared: people leave out hyphens and write capitals."""
    return "".join(letter for letter in code.lower() if letter in LETTERS)


def same_code(shown: str, code: str) -> bool:
    """Tell whether what was shown is the code; an empty code lets nobody in."""
    one, other = plain(shown), plain(code)
    return bool(other) and secrets.compare_digest(one, other)


def kept_code(root: Path) -> str:
    """Return the code of a folder of trials; a new one where none is kept or can be trusted."""
    name = hashlib.sha256(str(root).encode()).hexdigest()[:24]
    path = _state() / f"{name}.txt"
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        known = _own_text(path)
        if len(plain(known)) == GROUPS * IN_A_GROUP:
            return known
        code = new_code()
        write_own(path, code + "\n")
    except OSError:
        # no place to keep it: it then holds until the page is stopped
        return new_code()
    return code


def _state() -> Path:
    """Return where this user's programs keep what they need again."""
    known = os.environ.get("LOCALAPPDATA" if os.name == "nt" else "XDG_STATE_HOME", "")
    return (Path(known) if known else Path.home() / ".local" / "state") / "bmp-page"


def _own_text(path: Path) -> str:
    """Return a file's text where it is ours and nobody else may read or write it, else nothing."""
    if not path.is_file() or path.is_symlink():
        return ""
    stat = path.stat()
    if os.name == "posix" and (stat.st_uid != os.getuid() or stat.st_mode & 0o077):
        return ""
    return path.read_text(encoding="utf-8", errors="replace").strip()


def write_own(path: Path, text: str) -> None:
    """Write a file that only its owner may read, in place of whatever stands there."""
    path.unlink(missing_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(text)


def write_opener(root: Path, link: str) -> Path:
    """Write the file that leads a browser to the link, and return it."""
    text = (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>bmp page</title>'
        f'<meta name="referrer" content="no-referrer"><meta http-equiv="refresh" '
        f'content="0; url={link}"><p><a href="{link}">Go to the page</a></p></html>\n'
    )
    for folder in (root, Path(tempfile.gettempdir())):
        with suppress(OSError):
            path = folder / (OPENER if folder == root else f"{secrets.token_hex(8)}-{OPENER}")
            write_own(path, text)
            return path
    raise OSError(f"no place for {OPENER}")
