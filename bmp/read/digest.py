"""A name for the content of a trial's files: the same files, the same name."""

from __future__ import annotations

import hashlib
from pathlib import Path


def input_digest(place: Path) -> str:
    """Return the SHA-256 of a workbook, or of all tables of a folder with their names."""
    if place.is_file():
        return hashlib.sha256(place.read_bytes()).hexdigest()
    digest = hashlib.sha256()
    for path in sorted(place.glob("*.[cC][sS][vV]")):
        content = path.read_bytes()
        digest.update(f"{path.name}|{len(content)}|".encode() + content)
    return digest.hexdigest()
