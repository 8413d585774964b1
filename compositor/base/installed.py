"""Versions of installed distributions."""

import re
from importlib.metadata import distribution, version

_VERSION = re.compile(r"^Version:[ \t]*(\S+)[ \t]*$", re.MULTILINE)


def installed_version(name: str) -> str:
    """The version of a distribution, from the one line that tells it: `importlib.metadata` reads all of the text as a
    message, descriptions and licences, a millisecond each. Raises PackageNotFoundError."""
    found = distribution(name)
    header, _, _ = (found.read_text("METADATA") or found.read_text("PKG-INFO") or "").partition("\n\n")
    told = _VERSION.search(header)
    return version(name) if told is None else told[1]
