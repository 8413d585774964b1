"""Where a line of copy may be broken: a small part of the Unicode line breaking algorithm (UAX #14).

After spaces, hyphens and dashes; at soft hyphens, which show only there; between ideographs and kana, but not before
closing or after opening marks. Scripts that need a dictionary (Thai, Lao, Khmer) are broken at spaces only.
"""

import unicodedata

SOFT_HYPHEN = "\u00ad"
_AFTER = frozenset(" \u200b\u3000-\u2010\u2012\u2013\u2014" + SOFT_HYPHEN)
_NOT_BEFORE = frozenset("、。，．・：；？！）］｝」』】〉》’”ー々ぁぃぅぇぉっゃゅょァィゥェォッャュョ")
_NOT_AFTER = frozenset("（［｛「『【〈《‘“")


def pieces(paragraph: str) -> list[str]:
    """The paragraph cut at every place where a line may end; joined they are the paragraph."""
    found: list[str] = []
    start = 0
    for at in range(1, len(paragraph)):
        if _may_break(paragraph[at - 1], paragraph[at]):
            found.append(paragraph[start:at])
            start = at
    return [*found, paragraph[start:]]


def shown(joined: str) -> str:
    """A line as it is set: without spaces at its ends, soft hyphens only where it ends in one."""
    line = joined.strip(" \u200b\u3000")
    hyphen = "-" if line.endswith(SOFT_HYPHEN) else ""
    return line.replace(SOFT_HYPHEN, "").replace("\u200b", "") + hyphen


def runs_rightwards(text: str) -> bool:
    """Whether a text runs from left to right: by its first strong character (UAX #9, rules P2 and P3)."""
    for character in text:
        kind = unicodedata.bidirectional(character)
        if kind in ("L", "R", "AL"):
            return kind == "L"
    return True


def _may_break(before: str, after: str) -> bool:
    if after == " " or after in _NOT_BEFORE:
        return False
    if before in _AFTER:
        return before != "-" or not after.isdigit()  # a minus holds its number
    if before in _NOT_AFTER:
        return False
    return _ideographic(before) or _ideographic(after)


def _ideographic(character: str) -> bool:
    return "\u3040" <= character <= "\u30ff" or "\u3400" <= character <= "\u9fff" or "\uf900" <= character <= "\ufaff"
