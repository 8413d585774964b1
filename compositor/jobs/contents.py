"""What a scene's files hold, told by content hashes."""

from functools import partial
from pathlib import Path

from compositor.base.errors import PictureError
from compositor.files.atomic import content_hash
from compositor.jobs.shelf import Shelf

Stamp = tuple[int, int]


class Contents:
    """Content hashes of a scene's files by their paths as the scene writes them, each made once for all variants."""

    def __init__(self, folder: Path, shelf: Shelf) -> None:
        self.folder, self.shelf = folder, shelf

    def __call__(self, name: str) -> str:
        """'sha256:' and the digest of a file. Raises OSError."""
        return self._stamped(name)[0]

    def unchanged(self, *names: str) -> None:
        """To be called after files were read. Raises PictureError where one is no longer what its hash was made of."""
        for name in names:
            if self._stamped(name)[1] != _stamp(self.folder / name):
                raise PictureError(self.folder / name, "was changed while it was read; render again")

    def _stamped(self, name: str) -> tuple[str, Stamp]:
        return self.shelf.take("hash", (name,), None, partial(_hashed, self.folder, name))


def _hashed(folder: Path, name: str) -> tuple[str, Stamp]:
    path = folder / name
    stamp = _stamp(path)
    return content_hash(path), stamp


def _stamp(path: Path) -> Stamp:
    """Time of the last change and size."""
    status = path.stat()
    return status.st_mtime_ns, status.st_size
