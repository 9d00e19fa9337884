"""The results folder: made beside its place and moved there whole, so it is never half written."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from bmp.problem import Problem, UnusableInput


def check_place(out: Path, source: Path, file_format: str, replace: bool) -> None:
    """Refuse to write where something stands that this tool did not write.

    Raises
    ------
    UnusableInput
        Where `out` is a file, is or holds the input, or holds anything else (unless `replace`).
    """
    wanted = "give another folder with --out"
    place, origin = out.resolve(), source.resolve()
    if place == origin or place in origin.parents:
        raise UnusableInput([Problem(str(out), "the results would lie over the input", wanted)])
    if out.is_symlink() or (out.exists() and not out.is_dir()):
        raise UnusableInput([Problem(str(out), "this is a file or a link, not a folder", wanted)])
    if out.is_dir() and any(out.iterdir()) and not _written_here(out, file_format) and not replace:
        wanted += ", or --replace (the old folder is then kept beside it)"
        raise UnusableInput([Problem(str(out), "the folder holds other files", wanted)])


def _written_here(folder: Path, file_format: str) -> bool:
    """Tell whether the folder holds just what its own list of files names."""
    try:
        manifest = json.loads((folder / "files.json").read_text(encoding="utf-8"))
        names = set(manifest["files"])
        own = manifest["format"] == file_format
    except (OSError, ValueError, KeyError, TypeError):
        return False
    present = {
        path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir()
    }
    return own and present - {"files.json"} <= names


def write_folder(
    out: Path, file_format: str, write: Callable[[Path], None], keep: bool = False
) -> None:
    """Let `write` fill a new folder beside `out`, then move it there.

    Old results of this tool are replaced (with `keep` they too are kept); any other folder in the
    place is kept beside, renamed.
    """
    out.parent.mkdir(parents=True, exist_ok=True)
    new = Path(tempfile.mkdtemp(prefix=f".{out.name[:40]}-", dir=out.parent))
    try:
        write(new)
        names = sorted(p.relative_to(new).as_posix() for p in new.rglob("*") if p.is_file())
        manifest = {"format": file_format, "files": names}
        (new / "files.json").write_text(json.dumps(manifest, indent=1) + "\n", encoding="utf-8")
        new.chmod(0o777 & ~_umask())
        _move_in(new, out, "" if keep else file_format)
    finally:
        shutil.rmtree(new, ignore_errors=True)


def _move_in(new: Path, out: Path, file_format: str) -> None:
    if not out.exists():
        new.rename(out)
        return
    disposable = _written_here(out, file_format) or not any(out.iterdir())
    old = _free_name(out, f".{out.name[:40]}-old" if disposable else f"{out.name}-before")
    out.rename(old)
    new.rename(out)
    if disposable:
        shutil.rmtree(old, ignore_errors=True)


def _free_name(out: Path, stem: str) -> Path:
    numbers = (out.with_name(f"{stem}-{number}") for number in range(1, 10_000))
    return next(path for path in numbers if not path.exists())


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
