"""Whole files or none; the digest is the example of FIPS 180-4 ("abc")."""

import os
from pathlib import Path

import pytest

from compositor.files.atomic import content_hash, write_whole


def test_writes_and_replaces(tmp_path: Path) -> None:
    path = tmp_path / "new folder" / "picture.png"
    write_whole(path, b"first")
    write_whole(path, b"second")
    assert path.read_bytes() == b"second"
    assert [entry.name for entry in path.parent.iterdir()] == ["picture.png"]


def test_a_failure_leaves_the_old_file_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "picture.png"
    write_whole(path, b"old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_content_hash(tmp_path: Path) -> None:
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    assert content_hash(path) == "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
