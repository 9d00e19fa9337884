"""Files and folders moved into place, also where another program holds what stands there."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

WAITS_S: Final = (0.05, 0.1, 0.2, 0.4, 0.8)
"""A virus scanner or a preview lets go within that time (common practice, no source)."""
_DENIED, _SHARED, _LOCKED = 5, 32, 33
"""Windows: ERROR_ACCESS_DENIED, ERROR_SHARING_VIOLATION, ERROR_LOCK_VIOLATION."""


def held(error: OSError) -> bool:
    """Tell whether Windows refused because another program holds the file or one in the folder."""
    return getattr(error, "winerror", None) in (_DENIED, _SHARED, _LOCKED)


def move(source: Path, target: Path) -> None:
    """Move a file over another or a folder to a free place, waiting where a program holds it.

    Raises
    ------
    OSError
        It cannot be moved; `held` tells whether another program is the reason.
    """
    for wait_s in WAITS_S:
        try:
            os.replace(source, target)
        except OSError as error:
            if not held(error):
                raise
            time.sleep(wait_s)
        else:
            return
    os.replace(source, target)


@contextmanager
def whole(place: Path) -> Iterator[Path]:
    """Give a place to write a file or folder to; it is moved to its own when it is whole.

    Raises
    ------
    OSError
        It cannot be written; nothing of it is left, and the error names the place.
    """
    new = place.with_name(f".{place.name}.new")
    try:
        yield new
        move(new, place)
    except OSError as error:
        error.filename = error.filename if held(error) else str(place)
        raise
    finally:
        shutil.rmtree(new, ignore_errors=True)
        if new.is_file():
            new.unlink()
