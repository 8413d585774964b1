"""Names of elements, holdouts and deliveries: they become layers, files and parts of dotted keys."""

import unicodedata
from functools import lru_cache

LONGEST_NAME = 80
LONGEST_NAME_BYTES = 200
"""File systems take 255 bytes; the rest is left for a suffix."""

_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(10))}
_NOT_IN_FILES = '/\\<>:"|?*'


@lru_cache(1000)
def name_fault(name: str) -> str | None:
    """What keeps a name from being a layer's or a file's, with the remedy; None for a good one.

    The characters and device names are those that Microsoft's "Naming Files, Paths, and Namespaces" refuses; the
    layers' own separator is `/`.
    """
    if not name:
        return "must not be empty"
    if any(unicodedata.category(character) in ("Cc", "Cs", "Zl", "Zp", "Cn") for character in name):
        return "must not hold control characters"
    unfit = sorted(set(name) & set(_NOT_IN_FILES))
    if unfit:
        return f"must not hold {' '.join(unfit)} as it becomes a layer and a file; use a hyphen"
    if name.startswith(("-", " ")):
        return f"must not begin with {'a hyphen' if name[0] == '-' else 'a space'}; begin with a letter or digit"
    if name.endswith((" ", ".")):
        return f"must not end with {'a full stop' if name[-1] == '.' else 'a space'}; end with a letter or digit"
    if len(name) > LONGEST_NAME or len(name.encode()) > LONGEST_NAME_BYTES:
        return f"is too long; {LONGEST_NAME} characters at most"
    if name.split(".")[0].rstrip().casefold() in _DEVICES:
        return "is the name of a device on some systems; choose another"
    return None


def same(name: str) -> str:
    """The form in which two spellings of one name are equal (composed characters)."""
    return unicodedata.normalize("NFC", name)


def same_file(name: str) -> str:
    """The form in which two names are one file on file systems that ignore case."""
    return unicodedata.normalize("NFC", name.casefold())
