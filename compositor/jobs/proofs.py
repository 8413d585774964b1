"""Approved pictures beside a scene: ``proofs/<scene>/<variant>/`` with a small picture for each delivery, what is known
of the large one, and the plan. Small enough for a repository; of the large one's samples a hash is kept.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from compositor.base.errors import LocatedFault, UnusableInput
from compositor.colour.coding import as_eight_bits
from compositor.files.atomic import write_whole
from compositor.files.faithful_jpeg import encode_faithful_jpeg
from compositor.jobs.looking import Look, reduced
from compositor.measure.comparison import Shown
from compositor.plan.model import Plan
from compositor.plan.stable import PlanData, plan_json, read_plan
from compositor.report.record import as_json

_FOLDER, _RECORD, _PLAN = "proofs", "proof.json", "plan.json"

# By trial (tests/studies/picture_tolerances.py): reduced and coded like this, all that has to be caught in a picture
# still is, and no more.
_SIZE, _QUALITY = 0.4, 80
_LEAST_SIDE_PX, _MOST_SIDE_PX, _MOST_BYTES = 640, 1024, 200_000
_SMALLER, _SMALLEST_SIDE_PX = 0.85, 256  # where grain alone fills a file


@dataclass(frozen=True)
class Proof:
    """An approved picture. facts: of the large one (looking.Look.facts); side_px: longer side of the small one."""

    facts: dict[str, Any]
    side_px: int
    picture: Path


@dataclass(frozen=True)
class Approved:
    """What is approved of a variant. versions: of the libraries that drew it."""

    plan: PlanData
    versions: Mapping[str, str]
    pictures: Mapping[str, Proof]


def proofs_of(scene: Path, variant: str | None = None) -> Path:
    """The folder of a scene file's approved pictures, or of one variant's."""
    folder = scene.parent / _FOLDER / scene.stem
    return folder if variant is None else folder / variant


def approved_variants(scene: Path) -> list[str]:
    """Names of the variants of which something is approved."""
    return sorted(path.parent.name for path in proofs_of(scene).glob(f"*/{_RECORD}"))


def small_picture(shown: Shown, side_px: int | None = None) -> tuple[bytes, int]:
    """The JPEG that stands for a picture in its proof, and its longer side: the one given, or what keeps it small."""
    longer = max(shown.size_px)
    wanted = min(max(round(longer * _SIZE), _LEAST_SIDE_PX), _MOST_SIDE_PX, longer) if side_px is None else side_px
    while True:
        small = reduced(shown, wanted)
        data = encode_faithful_jpeg(as_eight_bits(small.samples), _QUALITY, small.space.icc)
        if len(data) <= _MOST_BYTES or side_px is not None or wanted < _SMALLEST_SIDE_PX:
            return data, max(small.size_px)
        wanted = int(wanted * _SMALLER)


def read_approved(scene: Path, variant: str) -> Approved | None:
    """What is approved of a variant; None where nothing is. Raises UnusableInput where that cannot be read."""
    folder = proofs_of(scene, variant)
    if not (folder / _RECORD).exists():
        return None
    try:
        told = json.loads((folder / _RECORD).read_text(encoding="utf-8"))
        pictures = {
            name: Proof(kept["facts"], int(kept["side_px"]), folder / f"{name}.jpg")
            for name, kept in told["pictures"].items()
        }
        plan = read_plan((folder / _PLAN).read_text(encoding="utf-8"))
        return Approved(plan, told["versions"], pictures)
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        what = "cannot be read as an approval; approve the scene again"
        raise UnusableInput([LocatedFault(str(folder / _RECORD), 1, 1, "", what, type(error).__name__)]) from error


def write_approved(
    scene: Path, variant: str, plan: Plan, versions: Mapping[str, str], looks: Mapping[str, Look]
) -> None:
    """Approve all pictures of a variant; those that are no longer made go. The record is written last."""
    folder = proofs_of(scene, variant)
    kept = {}
    for name, look in looks.items():
        data, side_px = small_picture(look.on(1.0))
        write_whole(folder / f"{name}.jpg", data)
        kept[name] = {"facts": look.facts, "side_px": side_px}
    for path in folder.glob("*.jpg"):
        if path.stem not in kept:
            path.unlink()
    write_whole(folder / _PLAN, plan_json(plan).encode())
    write_whole(folder / _RECORD, as_json({"versions": dict(versions), "pictures": kept}).encode())


def remove_approved(scene: Path, variant: str) -> None:
    """Take a variant's approval away."""
    folder = proofs_of(scene, variant)
    for path in [folder / _RECORD, folder / _PLAN, *folder.glob("*.jpg")]:
        path.unlink(missing_ok=True)
    if not any(folder.iterdir()):
        folder.rmdir()
