"""What is done: for every variant that is wholly written, what it was made of and what it came to.

``DIR/.made/<scene>/<variant>.json``, written after the variant's files. A file that is there says nothing: done is what
was made of the same input, by the same code, and is still what it was then.
"""

import json
from collections.abc import Collection, Mapping
from pathlib import Path

from compositor.files.atomic import content_hash, file_checksum, remove_parts, write_whole
from compositor.report.record import as_json

_FOLDER = ".made"


class Journal:
    """Of one scene's variants under a folder for outputs."""

    def __init__(self, out: Path, scene: str) -> None:
        self.folder, self.outputs = out / _FOLDER / scene, out / scene

    def tidy(self) -> None:
        """Take away what a killed run left half written."""
        remove_parts(self.folder)

    def done(self, variant: str, key: str) -> list[str] | None:
        """Names of the variant's files, in their order, where they were made of this input and are whole; else None."""
        try:
            told = json.loads(self._entry(variant).read_text(encoding="utf-8"))
            whole = told["key"] == key and all(
                file_checksum(self.outputs / variant / name) == checksum for name, checksum in told["files"].items()
            )
            return list(told["files"]) if whole else None
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None

    def enter(self, variant: str, key: str, checksums: Mapping[str, str]) -> None:
        """A variant is written. checksums: of its files by name. Raises OSError."""
        write_whole(self._entry(variant), as_json({"key": key, "files": dict(checksums)}).encode(), durable=False)

    def let_go(self, variant: str, kept: Collection[str]) -> None:
        """Take away what an earlier render left of a variant and this one does not make: a layered file of another
        state would lie beside the new picture. What is no longer what was written then is somebody's own, and stays."""
        try:
            earlier = dict(json.loads(self._entry(variant).read_text(encoding="utf-8"))["files"])
        except (OSError, ValueError, KeyError, TypeError):
            return
        for name, checksum in earlier.items():
            path = self.outputs / variant / name
            if name not in kept and Path(name).name == name and _holds(path, checksum):
                path.unlink(missing_ok=True)

    def _entry(self, variant: str) -> Path:
        return self.folder / f"{variant}.json"


def _holds(path: Path, checksum: str) -> bool:
    """Former versions wrote content hashes."""
    try:
        return (content_hash if checksum.startswith("sha256:") else file_checksum)(path) == checksum
    except OSError:
        return False
