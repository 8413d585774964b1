"""What is wrong with a text that is no YAML, in plain sentences with a remedy."""

import re
from collections.abc import Callable

import yaml

from compositor.base.errors import LocatedFault
from compositor.scene.tree import Place

_UNFIT = re.compile("[^\x09\x0a\x0d\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")
"""Characters outside c-printable of YAML 1.2.2 (section 5.1), and the byte-order mark within a text."""

_BREAKS = re.compile("\r\n|[\r\n\x85\u2028\u2029]")
"""What the parser counts as the end of a line."""

_SENTENCES = (
    ("mapping values are not allowed", "a colon where none is expected; indent evenly, and quote a text with a colon"),
    ("found unexpected end of stream", "a quotation mark is opened and never closed"),
    ("unexpected document indicator", "a quotation mark is opened and never closed"),
    ("could not find expected ':'", "a key without a colon"),
    ("could not found expected ':'", "a key without a colon"),
    ("expected ',' or ']'", "a list is opened with [ and not closed with ], or a comma is missing"),
    ("expected ',' or '}'", "a mapping is opened with { and not closed with }, or a comma is missing"),
    ("did not find expected key", "the line does not fit what stands above; check its indentation and brackets"),
    ("did not find expected '-'", "the line does not fit the list above; check its indentation"),
    ("expected <block end>", "the line does not fit what stands above; check its indentation and brackets"),
    ("expected node content", "a value is missing, or a bracket is not closed"),
    ("expected the node content", "a value is missing, or a bracket is not closed"),
    ("unknown escape character", "an unknown escape after a backslash; use single quotes, or double the backslash"),
    ("escape code", "an escape after a backslash that stands for no character"),
    ("escape sequence", "an unknown escape after a backslash; use single quotes, or double the backslash"),
    ("incompatible YAML document", "another version of YAML; remove the line that begins with %YAML"),
    ("undefined tag handle", "YAML tags are not used here; remove the tag"),
    ("while increasing flow level", "nested too deep"),
    ("exceeded maximum", "nested too deep"),
)


def clean_fault(text: str, start: Place) -> LocatedFault | None:
    """A fault at the first character that no text holds; None for a clean text."""
    found = _UNFIT.search(text)
    if found is None:
        return None
    ends = [match.end() for match in _BREAKS.finditer(text, 0, found.start())]
    column = found.start() - (ends[-1] if ends else 0)
    place = Place(start.file, start.line + len(ends), column + (1 if ends else start.column))
    return place.fault("", "a character that no text file holds; is this the scene file?", f"U+{ord(found[0]):04X}")


def line_count(text: str) -> int:
    """Lines of a text as an editor shows them, at least 1."""
    ends = [match.end() for match in _BREAKS.finditer(text)]
    return max(1, len(ends) + (not ends or ends[-1] < len(text)))


def syntax_fault(
    error: yaml.YAMLError, text: str, placing: Callable[[int, int], Place], opened: Place | None
) -> LocatedFault:
    """The parser's complaint as one fault of ours. opened: where the innermost open mapping or list begins, which is
    what a complaint at the end of the text is about."""
    mark, begun = getattr(error, "problem_mark", None), getattr(error, "context_mark", None)
    problem = f"{getattr(error, 'problem', None) or ''} {getattr(error, 'context', None) or ''}"
    if "quoted scalar" in problem and "unexpected" in problem:
        mark = begun
    if mark is None:
        return placing(0, 0).fault("", "not readable as YAML")
    at_end = mark.index >= len(text.rstrip())
    place = opened if at_end and opened is not None else placing(mark.line, mark.column)
    if "cannot start any token" in problem:
        return place.fault("", *_bad_start(text[mark.index : mark.index + 1]))
    for beginning, sentence in _SENTENCES:
        if beginning in problem:
            return place.fault("", sentence)
    return place.fault("", "not readable as YAML here; check the line's indentation, quotes and brackets")


def _bad_start(character: str) -> tuple[str, str | None]:
    if character == "\t":
        return "a tab at the beginning of a line; indent with spaces", None
    return "a value must not begin with this character; put it in quotes", character or None
