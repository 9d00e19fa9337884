"""Why something failed, in words for the person who typed."""

from __future__ import annotations

import errno
from typing import Final

WORDS: Final = {
    errno.ENOSPC: "no space is left on the disk",
    errno.EDQUOT: "no space is left for this user on the disk",
    errno.EFBIG: "the file may not grow larger",
    errno.EROFS: "the disk can only be read",
    errno.EACCES: "permission is denied; another program may hold the file",
    errno.EPERM: "permission is denied",
    errno.EBUSY: "another program holds the file",
    errno.ENOENT: "the file or its folder is gone",
    errno.EIO: "the disk failed",
}


def reason(error: BaseException) -> str:
    """Return why something failed."""
    if isinstance(error, OSError):
        return WORDS.get(error.errno or 0, error.strerror or str(error))
    return f"{type(error).__name__}: {error}"
