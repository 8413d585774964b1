"""What a scene's files hold, told by content hashes."""

from functools import partial
from pathlib import Path

from compositor.base.errors import PictureError
from compositor.files.atomic import bytes_hash, content_hash
from compositor.files.header import Header, PictureFile, read_file
from compositor.jobs.shelf import Shelf

Stamp = tuple[int, int]


class Contents:
    """Headers and content hashes of a scene's files by their paths as the scene writes them, each made once for all
    variants. A picture whose header was read here is not read again for its hash and its samples."""

    def __init__(self, folder: Path, shelf: Shelf) -> None:
        self.folder, self.shelf = folder, shelf
        self._read: dict[str, tuple[PictureFile, Stamp]] = {}
        self._asked: dict[str, tuple[str, Stamp]] = {}  # for every key again

    def __call__(self, name: str) -> str:
        """'sha256:' and the digest of a file. Raises OSError."""
        return self._stamped(name)[0]

    def header(self, name: str) -> Header:
        """What a picture says of itself. Raises PictureError."""
        return self.shelf.take("header", (name,), None, lambda: self._looked(name)[0].header)

    def picture(self, name: str) -> PictureFile:
        """A picture with its bytes, which are not held here from now on. Raises PictureError."""
        return self._read.pop(name)[0] if name in self._read else read_file(self.folder / name)

    def unchanged(self, *names: str) -> None:
        """To be called after files were read. Raises PictureError where one is no longer what its hash was made of."""
        for name in names:
            if self._stamped(name)[1] != _stamp(self.folder / name):
                raise PictureError(self.folder / name, "was changed while it was read; render again")

    def _looked(self, name: str) -> tuple[PictureFile, Stamp]:
        path = self.folder / name
        stamp = _stamp(path) if path.exists() else (0, 0)  # reading it says better what is wrong
        self._read[name] = read_file(path), stamp
        return self._read[name]

    def _stamped(self, name: str) -> tuple[str, Stamp]:
        if name not in self._asked:
            self._asked[name] = self.shelf.take("hash", (name,), None, partial(self._hashed, name))
        return self._asked[name]

    def _hashed(self, name: str) -> tuple[str, Stamp]:
        if name in self._read:
            file, stamp = self._read[name]
            return bytes_hash(file.data), stamp
        stamp = _stamp(self.folder / name)
        return content_hash(self.folder / name), stamp


def _stamp(path: Path) -> Stamp:
    """Time of the last change and size."""
    status = path.stat()
    return status.st_mtime_ns, status.st_size
