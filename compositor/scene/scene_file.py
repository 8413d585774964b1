"""The text of a scene file, or the one fault that says why there is none."""

import codecs
import re
from pathlib import Path
from typing import NoReturn

from compositor.base.errors import UnusableInput
from compositor.scene.syntax import line_count
from compositor.scene.tree import Place

_SURROGATES = re.compile(r"(?<!\\)((?:\\\\)*)\\u([dD][89abAB][0-9a-fA-F]{2})\\u([dD][c-fC-F][0-9a-fA-F]{2})")
"""A character written as two escapes, which JSON allows (RFC 8259, section 7) and YAML 1.2 writes as one."""

LARGEST_BYTES = 4 * 2**20


def read_text(path: Path, file: str) -> str:
    """The file's text without a byte-order mark. file: its name as the user gave it. Raises UnusableInput."""
    try:
        if path.is_dir():
            _refuse(file, "this is a folder; name the scene file in it")
        if not path.exists():
            _refuse(file, "there is no such file")
        if not path.is_file():
            _refuse(file, "this is not a regular file")
        with path.open("rb") as opened:
            raw = opened.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "no usable path"
        _refuse(file, f"the file cannot be opened: {reason.lower()}")
    if len(raw) > LARGEST_BYTES:
        _refuse(file, f"larger than {LARGEST_BYTES // 2**20} MiB; is this the scene file?")
    return _decoded(raw, file)


def _decoded(raw: bytes, file: str) -> str:
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        _refuse(file, "the text is in UTF-16; save it as UTF-8")
    try:
        return _SURROGATES.sub(_one_escape, raw.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        before = raw[: error.start].decode("utf-8-sig", "replace")
        line = line_count(before + "x")
        column = len(before.splitlines()[-1]) + 1 if line == len(before.splitlines()) else 1
        what = "not a text in UTF-8; save it as UTF-8, or name the right file"
        raise UnusableInput([Place(file, line, column).fault("", what, f"byte {raw[error.start]:#04x}")]) from error


def _one_escape(pair: re.Match[str]) -> str:
    code = 0x10000 + ((int(pair[2], 16) - 0xD800) << 10) + (int(pair[3], 16) - 0xDC00)
    return f"{pair[1]}\\U{code:08x}"


def _refuse(file: str, what: str) -> NoReturn:
    raise UnusableInput([Place(file, 1, 1).fault("", what)])
