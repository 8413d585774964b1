"""Files that are there whole or not at all."""

import hashlib
import os
import re
import secrets
import socket
import threading
from collections.abc import Iterable, Iterator
from io import FileIO
from pathlib import Path

from compositor.files.codecs import deflate

PART_SUFFIX = ".part"
"""Ending of files that are still being written; one found later belongs to a run that was killed."""

_HOST = hashlib.sha256(socket.gethostname().encode()).hexdigest()[:6]
_RUN = secrets.token_hex(4)  # a later process may get the same number
_AT_ONCE_BYTES = 256 << 10  # for more than 1 MB the system looks for huge pages, six times as dear (Linux 6.18, ext4)
_PART = re.compile(rf"\..+\.([0-9a-f]{{6}})-(\d+)-([0-9a-f]{{8}})-\d+{re.escape(PART_SUFFIX)}")


def write_whole(path: Path, data: bytes, durable: bool = True) -> None:
    """Write a file beside its place, then move it there in one step. Folders are made. Raises OSError.

    durable: wait until the disk has it, so that it outlives a power cut, too.
    """
    write_pieces(path, (data,), durable)


def write_pieces(path: Path, pieces: Iterable[bytes | memoryview], durable: bool = True) -> None:
    """The same with a file in pieces, one after the other."""
    part = path.with_name(f".{path.name}.{_HOST}-{os.getpid()}-{_RUN}-{threading.get_ident()}{PART_SUFFIX}")
    try:
        with _new(part) as file:
            for piece in pieces:
                for chunk in _chunks(piece):
                    while len(chunk):
                        chunk = chunk[file.write(chunk) :]
            if durable:
                os.fsync(file.fileno())
        part.replace(path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def _chunks(piece: bytes | memoryview) -> Iterator[memoryview]:
    """What is written at once."""
    view = memoryview(piece)
    for start in range(0, len(view), _AT_ONCE_BYTES):
        yield view[start : start + _AT_ONCE_BYTES]


def _new(path: Path) -> FileIO:
    """Open a file to write to, without a buffer that pieces would only be copied into; its folder is made only where it
    is not there."""
    try:
        return FileIO(path, "wb")
    except FileNotFoundError:
        path.parent.mkdir(parents=True, exist_ok=True)
        return FileIO(path, "wb")


def remove_parts(folder: Path) -> None:
    """Take away what killed runs of this machine left half written in a folder; what is being written stays."""
    try:
        names = os.listdir(folder)  # noqa: PTH208  (looked into for every variant; names are all it takes)
    except (FileNotFoundError, NotADirectoryError):
        return
    for name in names:
        told = _PART.fullmatch(name)
        if told is not None and told[1] == _HOST and told[3] != _RUN and not _runs(int(told[2])):
            (folder / name).unlink(missing_ok=True)


def _runs(process: int) -> bool:
    """Whether a process of that number is there, other than this one."""
    if process == os.getpid():
        return False
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:  # somebody else's
        return True
    return True


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


def bytes_hash(data: bytes) -> str:
    """The same of bytes that are no file yet."""
    return f"sha256:{hashlib.sha256(data).hexdigest()}"


def file_checksum(path: Path) -> str:
    """'crc32:', the CRC-32 and the length of a file's bytes: whether it still is what was written. Raises OSError."""
    found, length, piece = 0, 0, memoryview(bytearray(_AT_ONCE_BYTES))
    with path.open("rb", buffering=0) as file:
        while read := file.readinto(piece):
            found, length = deflate().crc32(piece[:read], found), length + read
    return _checksum_text(found, length)


def bytes_checksum(data: bytes) -> str:
    """The same of bytes that are no file yet; a hash of a large picture takes a twentieth of its encoding."""
    return _checksum_text(deflate().crc32(data), len(data))


def _checksum_text(checksum: int, length: int) -> str:
    return f"crc32:{checksum:08x}:{length}"
