"""The nearest known word, for those who mistyped one."""

from collections.abc import Iterable
from difflib import get_close_matches

from compositor.scene.names import LONGEST_NAME

_MOST_LISTED = 12
_MOST_COMPARED = 2000
MOST_SUGGESTED = 100
"""After so many faults of one kind nobody reads on; comparing words takes its time."""


def suggestion(word: str, known: Iterable[str]) -> str:
    """``; did you mean `word`?``, or the few words there are, or nothing; to follow a sentence."""
    words = [other for other in known if len(other) <= LONGEST_NAME][:_MOST_COMPARED]
    if len(word) <= LONGEST_NAME:
        folded = {other.casefold(): other for other in words}
        near = get_close_matches(word.casefold(), folded, n=1, cutoff=0.6)
        if near:
            return f"; did you mean `{folded[near[0]]}`?"
    return f"; known here: {', '.join(words)}" if 0 < len(words) <= _MOST_LISTED else ""
