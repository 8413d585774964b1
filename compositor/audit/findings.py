"""What the audit has to say about a plan, one fact at a time."""

from dataclasses import dataclass
from typing import Literal

Severity = Literal["info", "warning", "error"]


@dataclass(frozen=True)
class Finding:
    """One thing worth knowing: a code to filter by, the element it is about (None: the plate), and a remedy."""

    code: str
    severity: Severity
    element: str | None
    message: str
    remedy: str | None
