"""Plain scalars by the core schema of YAML 1.2.2 (section 10.3.2): a yes is a text, 12:30 is one, 010 is ten.

https://yaml.org/spec/1.2.2/#1032-tag-resolution
"""

import re

from compositor.scene.tree import Scalar

_WORDS: dict[str, Scalar] = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL"), None),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
    **{sign + word: float(sign + "inf") for sign in ("", "+", "-") for word in (".inf", ".Inf", ".INF")},
    **dict.fromkeys((".nan", ".NaN", ".NAN"), float("nan")),
}
_WHOLE = re.compile(r"[-+]?[0-9]+")
_OCTAL = re.compile(r"0o[0-7]+")
_HEXADECIMAL = re.compile(r"0x[0-9a-fA-F]+")
_FRACTION = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
_LONGEST_WHOLE = 18
"""Digits of a whole number that is kept exactly; longer ones (none means anything here) become floats."""


def resolve(text: str) -> Scalar:
    """The value of an unquoted scalar."""
    if text in _WORDS:
        return _WORDS[text]
    if _FRACTION.fullmatch(text):
        return int(text) if _WHOLE.fullmatch(text) and len(text) <= _LONGEST_WHOLE else float(text)
    if len(text) <= _LONGEST_WHOLE:
        if _OCTAL.fullmatch(text):
            return int(text[2:], 8)
        if _HEXADECIMAL.fullmatch(text):
            return int(text[2:], 16)
    return text
