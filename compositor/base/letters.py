"""Text that the built-in font can show: it has the ASCII letters and a few signs, and no fallback."""

import unicodedata

SIGNS = "©«°±´·»‘’“”…‹›™"
"""What the font holds beyond ASCII."""

NO_BREAK = "\u00a0"
"""A space that holds a line together; it is kept until lines are broken."""

STAND_INS = {
    "×": "x", "−": "-", "–": "-", "—": "-", "→": "->", "←": "<-", "≤": "<=", "≥": ">=", "≈": "~", "µ": "u",
    "ß": "ss", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "đ": "d",
    "Đ": "D", "ı": "i", "€": "EUR", "£": "GBP", "\u202f": "\u00a0",
}  # fmt: skip


def printable(text: str) -> str:
    """The text in letters that the font has: accents are dropped, what has no stand-in becomes a question mark.

    >>> printable("Café – 3 × 2 m², äöü")
    'Cafe - 3 x 2 m2, aou'
    """
    return "".join(_letters(character) for character in unicodedata.normalize("NFC", text))


def _letters(character: str) -> str:
    if _held(character):
        return character
    if character in STAND_INS:
        return STAND_INS[character]
    parts = [part for part in unicodedata.normalize("NFKD", character) if not unicodedata.combining(part)]
    return "".join(part if _held(part) else STAND_INS.get(part, "?") for part in parts) if parts else ""


def _held(character: str) -> bool:
    return " " <= character <= "~" or character in SIGNS or character == NO_BREAK
