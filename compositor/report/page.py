"""One page to look at all pictures of a run: a single file that needs no network.

Pictures are put in as data, small, so that the page can be mailed as it is. See templates/ for what it shows.
"""

from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from compositor.report.verdict import STATUSES, Verdicts, Views

_SOME_SIZE = (1500, 1000)  # of a picture whose file is not there any more
_SCRIPTS = ("stage.js", "viewer.js", "sheet.js")
_FIGURES = {
    "moved_px": "farthest move, px",
    "patch": "heaviest patch, px × CIEDE2000",
    "largest_difference": "CIEDE2000, largest",
    "mean_difference": "CIEDE2000, mean",
    "visible_fraction": "share seen to differ",
    "region_lightness": "region, levels of 255",
    "region_colour": "region, a*b*",
    "tile_lightness": "worst tile, levels of 255",
    "tile_colour": "worst tile, a*b*",
    "tile_similarity": "worst tile, SSIM",
    "similarity": "SSIM, mean",
}
"""Figures of a comparison in the order and words in which people are told them."""


@dataclass(frozen=True)
class Entry:
    """One picture of a page. size_px: None where it is not known. status: None in a gallery.

    plan, reasons, changes: sentences beside it.
    """

    name: str
    views: Views
    size_px: tuple[int, int] | None
    status: str | None = None
    plan: Sequence[str] = ()
    reasons: Sequence[str] = ()
    changes: Sequence[str] = ()
    figures: Mapping[str, float] = field(default_factory=dict)
    worst_box_px: tuple[int, int, int, int] | None = None

    @property
    def first(self) -> str:
        """The sentence that says most."""
        return next(iter((*self.plan, *self.reasons, *self.changes)), "")

    @property
    def words(self) -> str:
        """What it is found by, in small letters."""
        return " ".join((self.name, *self.plan, *self.reasons, *self.changes)).lower()

    def data(self) -> dict[str, Any]:
        """Plain values for the page's script; pictures as data addresses."""
        views = {
            name: None if (view := getattr(self.views, name)) is None else f"data:image/jpeg;base64,{_text(view)}"
            for name in ("approved", "new", "difference", "overlay")
        }
        return {
            "name": self.name,
            "status": self.status,
            "size": list(self.size_px or _SOME_SIZE),
            "known": self.size_px is not None,
            "plan": list(self.plan),
            "reasons": list(self.reasons),
            "changes": list(self.changes),
            "figures": [(words, _short(self.figures[n])) for n, words in _FIGURES.items() if n in self.figures],
            "box": self.worst_box_px,
            "views": views,
        }


def verdict_page(verdicts: Verdicts, before: str = "Approved") -> str:
    """The page of a run. before: what the first of two pictures is called."""
    entries = [
        Entry(
            name=verdict.name,
            views=verdict.views,
            size_px=verdict.size_px,
            status=verdict.status,
            plan=[change.text for change in verdict.plan_changes],
            reasons=verdict.reasons,
            figures=verdict.figures,
            worst_box_px=verdict.worst_box_px,
        )
        for verdict in verdicts.verdicts
    ]
    counts = [(status, verdicts.count(status)) for status in STATUSES if verdicts.count(status)]
    return _page(verdicts.title, entries, counts, (*verdicts.failed, *verdicts.notes), before)


def gallery_page(title: str, entries: Sequence[Entry]) -> str:
    """A page of pictures alone."""
    return _page(title, entries, [], (), "")


def _page(
    title: str, entries: Sequence[Entry], counts: Sequence[tuple[str, int]], notes: Sequence[str], before: str
) -> str:
    folder = files("compositor.report").joinpath("templates")
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    template = environment.from_string(folder.joinpath("page.html").read_text(encoding="utf-8"))
    return template.render(
        title=title,
        entries=entries,
        counts=counts,
        notes=notes,
        before=before,
        data=[entry.data() for entry in entries],
        style=Markup(folder.joinpath("page.css").read_text(encoding="utf-8")),
        script=Markup("".join(folder.joinpath(name).read_text(encoding="utf-8") for name in _SCRIPTS)),
    )


def _short(value: float) -> str:
    return f"{value:.0f}" if value >= 1000 else f"{value:.3g}"


def _text(data: bytes) -> str:
    return b64encode(data).decode("ascii")
