"""Files that are there whole or not at all."""

import hashlib
import os
import threading
from pathlib import Path

PART_SUFFIX = ".part"
"""Ending of files that are still being written; one found later belongs to a run that was killed."""


def write_whole(path: Path, data: bytes) -> None:
    """Write a file beside its place, then move it there in one step. Folders are made. Raises OSError."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{os.getpid()}-{threading.get_ident()}{PART_SUFFIX}")
    try:
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def place_fault(folder: Path) -> str | None:
    """Why no files can be written into a folder, which need not be there yet; None where they can. Makes nothing."""
    there = folder
    while not there.exists() and there != there.parent:
        there = there.parent
    if not there.is_dir():
        return f"{there} is a file, not a folder"
    return None if os.access(there, os.W_OK | os.X_OK) else f"{there} cannot be written to"


def content_hash(path: Path) -> str:
    """'sha256:' and the hexadecimal digest of a file's bytes. Raises OSError."""
    with path.open("rb") as file:
        return f"sha256:{hashlib.file_digest(file, 'sha256').hexdigest()}"
