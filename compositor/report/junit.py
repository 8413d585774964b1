"""Verdicts as JUnit XML, the form that build servers read (common practice, no single source)."""

import re
from xml.etree import ElementTree

from compositor.report.verdict import Verdicts

_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 (section 2.2) has no place for; one such character makes a whole file unreadable."""


def junit_xml(verdicts: Verdicts) -> bytes:
    """A test suite with a case per picture, and an error per line about a variant that could not be made."""
    failing = [verdict for verdict in verdicts.verdicts if not verdict.passes]
    suite = ElementTree.Element(
        "testsuite",
        name=_clean(verdicts.title),
        tests=str(len(verdicts.verdicts) + len(verdicts.failed)),
        failures=str(len(failing)),
        errors=str(len(verdicts.failed)),
    )
    for verdict in verdicts.verdicts:
        case = ElementTree.SubElement(suite, "testcase", classname=_clean(verdicts.title), name=_clean(verdict.name))
        if not verdict.passes:
            lines = verdict.told()
            failure = ElementTree.SubElement(case, "failure", message=_clean(verdict.status), type=verdict.status)
            failure.text = _clean("\n".join(lines))
    for line in verdicts.failed:
        case = ElementTree.SubElement(suite, "testcase", classname=_clean(verdicts.title), name="rendering")
        ElementTree.SubElement(case, "error", message=_clean(line))
    ElementTree.indent(suite)
    data: bytes = ElementTree.tostring(suite, encoding="utf-8", xml_declaration=True)
    ElementTree.fromstring(data)  # readable by others, or an error here rather than there
    return data + b"\n"


def _clean(text: str) -> str:
    return _NO_XML.sub("\ufffd", text)
