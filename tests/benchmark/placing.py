"""Where the product places things, as plain homographies: what every other program of the benchmark draws."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np


@dataclass(frozen=True)
class Thing:
    """A cut-out in the frame. onto, shadow: 3×3, its pixels to the frame's, of itself and of its shadow on the ground.
    left: light that its shadow leaves, R G B."""

    image: str
    onto: list
    shadow: list
    left: list


@dataclass(frozen=True)
class Job:
    """One picture: its things from far to near, and its deliveries: (name, format, quality, window, size)."""

    things: list
    deliveries: list


def write(folder: Path) -> None:
    """Solve the scenes and write their jobs beside them."""
    for name in ("w1", "w2-few"):
        jobs = [asdict(job) for job in _jobs(folder / f"{name}.yaml")]
        (folder / f"{name}.json").write_text(json.dumps(jobs))


def read(folder: Path, name: str) -> list[Job]:
    """The jobs of a scene."""
    return [Job([Thing(**thing) for thing in job["things"]], job["deliveries"]) for job in _load(folder, name)]


def _load(folder: Path, name: str) -> list[dict]:
    return json.loads((folder / f"{name}.json").read_text())


def _jobs(path: Path) -> list[Job]:
    from compositor.jobs.batch import Choice, run_batch
    from compositor.jobs.outcome import Solved

    def work(variant, problem):
        return Solved(variant, problem.plan, problem.findings, {})

    patterns = () if path.stem == "w1" else ("v*",)
    return [_job(solved.plan) for solved in run_batch(Choice(path, patterns=patterns), work).variants]


def _job(plan) -> Job:
    things = [_thing(plan, plan.element(item.name)) for item in plan.stack]
    return Job(things, [(d.name, d.format, d.quality, d.window_px, d.size_px) for d in plan.deliveries])


def _thing(plan, element) -> Thing:
    light, plane, camera = plan.light, element.plane, plan.plate.camera
    on_plane = np.linalg.inv(plane.homography(camera)) @ element.homography_matrix
    world = np.column_stack([plane.right, plane.up, plane.origin_m])
    sun = light.sun.direction
    ground = np.array([[1, 0, -sun[0] / sun[2]], [0, 1, -sun[1] / sun[2]], [0, 0, 0]]) @ world
    ground[2] = [0, 0, 1]
    onto_frame = camera.matrix[:, [0, 1, 3]] @ ground @ on_plane
    return Thing(element.source.image, element.homography_matrix.tolist(), onto_frame.tolist(), list(light.left_ratio))
