"""Pages to look at, of pictures made by number."""

import io
from functools import cache

import numpy as np
from PIL import Image, ImageDraw

from compositor.plan.change import PlanChange
from compositor.report.page import Entry, gallery_page, verdict_page
from compositor.report.verdict import STATUSES, Verdict, Verdicts, Views

SIZE = (480, 320)


@cache
def picture(number: int, moved: int = 0, overlay: bool = False) -> bytes:
    """A terrace by number: sky, ground, a barrel; moved is where the barrel stands now."""
    ramp = np.linspace(0, 1, SIZE[1])[:, None, None]
    sky, ground = np.array([150 + number % 60, 180, 215]), np.array([190, 160 + number % 40, 120])
    samples = np.broadcast_to(np.where(ramp < 0.45, sky - 40 * ramp, ground - 70 * ramp), (SIZE[1], SIZE[0], 3))
    grain = np.random.default_rng(number).normal(0, 4, (SIZE[1], SIZE[0], 1))
    made = Image.fromarray(np.clip(samples + grain, 0, 255).astype(np.uint8))
    draw = ImageDraw.Draw(made)
    left = 100 + number * 37 % 250 + moved
    draw.ellipse([left - 15, 250, left + 85, 270], fill=(90, 70, 60))
    draw.rounded_rectangle([left, 130, left + 60, 260], 15, fill=(120, 70 + number % 50, 50))
    if overlay:
        draw.line([0, 144, SIZE[0], 144], fill=(0, 255, 255), width=3)
    buffer = io.BytesIO()
    made.save(buffer, "JPEG", quality=85)
    return buffer.getvalue()


def verdict(number: int) -> Verdict:
    status = "match" if number % 4 else STATUSES[(number // 4) % 4]
    name = f"market-{number:03d}/wide"
    new, approved = picture(number), picture(number, moved=-7)
    if status == "match":
        return Verdict(name, "match", figures={"identical": 1.0}, size_px=SIZE, views=Views(new=new))
    if status == "missing":
        return Verdict(name, status, ("nothing was approved",), size_px=SIZE, views=Views(new=new))
    if status == "orphaned":
        return Verdict(name, status, ("approved, but no longer made",), views=Views(approved=approved))
    change = PlanChange("lounge-chair", "lounge-chair contact 14 px lower, 3.1 % larger")
    views = Views(approved, new, picture(number, moved=-4), picture(number, overlay=True))
    left = 100 + number * 37 % 250 - 7
    return Verdict(
        name,
        status,
        ("lounge-chair at (812, 640) moved 14.0 px to the right", "lounge-chair 0.31 L* darker"),
        (change,),
        {"moved_px": 14.0, "tile_similarity": 0.31, "patch": 5120.0},
        SIZE,
        (left, 130, left + 70, 260),
        views=views,
    )


def run_page(count: int) -> str:
    verdicts = sorted((verdict(number) for number in range(count)), key=lambda each: STATUSES.index(each.status))
    return verdict_page(Verdicts("terrace <b>&", verdicts, notes=("pillow 13.1 draws what was approved with 13.0",)))


def gallery(count: int) -> str:
    return gallery_page("Terrace", [Entry(f"market-{n:03d}/wide", Views(new=picture(n)), SIZE) for n in range(count)])
