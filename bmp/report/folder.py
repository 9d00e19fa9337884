"""The results folder: made beside its place and moved there whole, so it is never half written.

The move is one step of the file system where that can swap two folders (Linux); a kill at any
moment leaves the old results or the new. Elsewhere two renames do it, and the next run puts back
what a kill between them left. What killed runs left beside is swept by the next run.
"""

from __future__ import annotations

import ctypes
import json
import os
import re
import secrets
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from bmp.moving import held, move
from bmp.problem import Problem, UnusableInput

# Ends of the hidden names beside the results: being made, and old results on their way out.
MAKING, LEAVING = ".bmp-making", ".bmp-leaving"
_LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789_"
ABANDONED_AFTER_S = 86_400.0
_HERE, _EXCHANGE = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of renameat2(2)


def check_place(out: Path, source: Path | None, file_format: str, replace: bool) -> None:
    """Refuse to write where something stands that this tool did not write.

    Raises
    ------
    UnusableInput
        Where `out` is a file, is or holds the input, or holds anything else (unless `replace`).
    """
    wanted = "give another folder with --out"
    place, origin = out.resolve(), None if source is None else source.resolve()
    if origin is not None and (place == origin or place in origin.parents):
        raise UnusableInput([Problem(str(out), "the results would lie over the input", wanted)])
    if out.is_symlink() or (out.exists() and not out.is_dir()):
        raise UnusableInput([Problem(str(out), "this is a file or a link, not a folder", wanted)])
    if out.is_dir() and any(out.iterdir()) and not _written_here(out, file_format) and not replace:
        wanted += ", or --replace (the old folder is then kept too)"
        raise UnusableInput([Problem(str(out), "the folder holds other files", wanted)])


def _written_here(folder: Path, file_format: str) -> bool:
    """Tell whether the folder holds just what its own list of files names."""
    try:
        manifest = json.loads((folder / "files.json").read_text(encoding="utf-8"))
        names = set(manifest["files"])
        own = manifest["format"] == file_format
    except (OSError, ValueError, KeyError, TypeError):
        return False
    others = set(_files(folder)) - {"files.json"} - names
    return bool(own) and all(map(_left_by_looking, others))


# What file managers and office programs leave in a folder that somebody only looks at.
_LEFT_BY_LOOKING = re.compile(
    r"\.DS_Store|\._.*|\.~lock\..*#|~\$.*|Thumbs\.db|desktop\.ini|\.directory", re.IGNORECASE
)


def _left_by_looking(name: str) -> bool:
    return bool(_LEFT_BY_LOOKING.fullmatch(name.rpartition("/")[2]))


def _files(folder: Path) -> list[str]:
    """Return the files below a folder; a link counts as a file and is not followed."""
    return sorted(
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_symlink() or not path.is_dir()
    )


def write_folder(
    out: Path, file_format: str, write: Callable[[Path], None], keep: bool = False
) -> None:
    """Let `write` fill a new folder beside `out`, then move it there.

    Old results of this tool are replaced (with `keep` they too are kept); any other folder in the
    place is kept beside, renamed.
    """
    out.parent.mkdir(parents=True, exist_ok=True)
    _sweep(out)
    new = _new_folder(out)
    try:
        with _in_use(new):
            write(new)
            manifest = {"format": file_format, "files": _files(new)}
            text = json.dumps(manifest, indent=1) + "\n"
            (new / "files.json").write_text(text, encoding="utf-8")
            _move_in(new, out, "" if keep else file_format)
    except OSError as error:
        if error.filename is None or Path(str(error.filename)).is_relative_to(new):
            error.filename = str(out)
        raise
    finally:
        shutil.rmtree(new, ignore_errors=True)


def _new_folder(out: Path) -> Path:
    """Return a new folder beside `out`, open to whom its place is open.

    One of `tempfile` would be open to its maker alone, also after it was moved.
    """
    while True:
        name = "".join(secrets.choice(_LETTERS) for _ in range(8))
        new = out.with_name(f"{_stem(out)}{name}{MAKING}")
        with suppress(FileExistsError):
            new.mkdir()
            return new


def _move_in(new: Path, out: Path, file_format: str) -> None:
    if not out.exists():
        move(new, out)
        return
    disposable = _written_here(out, file_format) or not any(out.iterdir())
    if not disposable:
        # under the name that the other folder is to be kept by, so that one swap does it all
        kept = _free_name(out)
        move(new, kept)
        new = kept
    if _exchange(new, out):
        if disposable:
            shutil.rmtree(new, ignore_errors=True)
        return
    aside = out.with_name(new.name.removesuffix(MAKING) + LEAVING)
    try:
        move(out, aside)
    except OSError as error:
        if not held(error):
            raise
        raise UnusableInput([_kept_beside(new, out)]) from None
    move(new, out)
    if disposable:
        shutil.rmtree(aside, ignore_errors=True)
    else:
        move(aside, new)


def _kept_beside(new: Path, out: Path) -> Problem:
    """Keep the new results beside the old ones, which another program holds, and say so."""
    place = new
    if new.name.endswith(MAKING):
        numbers = (out.with_name(f"{out.name}-new-{number}") for number in range(1, 10_000))
        place = next(path for path in numbers if not os.path.lexists(path))
        move(new, place)
    what = "another program, such as a spreadsheet, holds a file in this folder open"
    wanted = f"the new results are in {place}; close the file and type the same again"
    return Problem(str(out), what, wanted)


def _exchange(one: Path, other: Path) -> bool:
    """Swap two folders in one step; `False` where the system cannot."""
    try:
        swap = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):
        return False
    return bool(swap(_HERE, os.fsencode(one), _HERE, os.fsencode(other), _EXCHANGE) == 0)


def _free_name(out: Path) -> Path:
    numbers = (out.with_name(f"{out.name}-before-{number}") for number in range(1, 10_000))
    return next(path for path in numbers if not os.path.lexists(path))


def _stem(out: Path) -> str:
    return f".{out.name[:40]}-"


def _sweep(out: Path) -> None:
    """Put back or remove what runs that were killed left beside `out`."""
    own = re.compile(re.escape(_stem(out)) + r"[a-z0-9_]{8}(" + f"{MAKING}|{LEAVING})")
    for path in sorted(out.parent.glob(".*")):
        if not own.fullmatch(path.name) or path.is_symlink() or not path.is_dir():
            continue
        if path.name.endswith(LEAVING) and not out.exists():
            path.rename(out)
        elif _abandoned(path):
            shutil.rmtree(path, ignore_errors=True)


@contextmanager
def _in_use(folder: Path) -> Iterator[None]:
    """Hold a lock on a folder that is being made; it goes with the process that holds it."""
    try:
        import fcntl
    except ImportError:
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    finally:
        os.close(handle)


def _abandoned(folder: Path) -> bool:
    """Tell whether no running process makes this folder: nobody holds its lock.

    Where there are no locks, it must be a day old.
    """
    try:
        import fcntl
    except ImportError:
        return time.time() - folder.stat().st_mtime > ABANDONED_AFTER_S
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    finally:
        os.close(handle)
    return True
