"""Results that are kept for the next variant: never another variant's."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from compositor.base.sameness import Itself, once_for_each
from compositor.jobs.check import check_scene
from compositor.scene.camera import Camera
from compositor.scene.element import GroundPosition
from compositor.scene.part import Exactly
from compositor.solve import light, planning

CHANGES: dict[str, dict[str, Any]] = {
    "as-it-is": {"title": "the same"},
    "nought": {"elements.post.ground.offset": 0.0},
    "minus-nought": {"elements.post.ground.offset": -0.0},
    "far": {"elements.post.ground.distance": 9},
    "uncertain": {"plate.camera.horizon": {"row": 120, "plus_minus": 4}},
    "higher": {"plate.camera.height": 2.5},
    "lit": {"plate.light": {"azimuth": -40, "elevation": 30}},
    "deeper": {"elements.post.depth": 0.5, "plate.light": {"azimuth": -40, "elevation": 30}},
    "other-cut-out": {"elements.post.image": "other.png"},
}


def forget() -> None:
    """Everything that was kept."""
    for kept in (planning._ground, planning._placed, light._solid):
        kept.cache_clear()


def test_a_variant_after_others_is_as_it_is_alone(
    words: dict[str, Any], write: Callable[..., Path], folder: Path
) -> None:
    (folder / "other.png").write_bytes((folder / "post.png").read_bytes())
    words["variants"] = [{"name": name, "set": changes} for name, changes in CHANGES.items()]
    path = write(words)
    forget()
    together = {solved.variant: (solved.plan, solved.findings) for solved in check_scene(path, []).variants}
    for name in CHANGES:
        forget()
        alone = check_scene(path, [], [name]).variants[0]
        assert repr((alone.plan, alone.findings)) == repr(together[name]), name


def test_words_that_compare_equal_and_say_something_else_are_told_apart() -> None:
    nought, minus = (GroundPosition(distance=3.0, offset=value) for value in (0.0, -0.0))
    assert nought == minus
    assert Exactly(nought) != Exactly(minus)
    assert Exactly(nought) != Exactly(GroundPosition(distance=3.0))
    assert Exactly(nought) == Exactly(nought.model_copy())
    assert hash(Exactly(nought)) == hash(Exactly(nought.model_copy()))
    said = Camera.model_validate({"horizon": {"pitch": -4}, "roll": 0.0})
    silent = Camera.model_validate({"horizon": {"pitch": -4}})
    assert Exactly(said) != Exactly(silent)


def test_a_result_is_kept_for_the_object_and_not_for_its_equal() -> None:
    seen: list[float] = []

    def work(value: tuple[float, ...]) -> float:
        seen.append(value[0])
        return value[0]

    once = once_for_each(work)
    first, equal = (float("0"),), (float("-0"),)
    assert first == equal
    assert Itself(first) != Itself(equal)
    assert [str(once(value)) for value in (first, equal, first)] == ["0.0", "-0.0", "0.0"]
    assert len(seen) == 2
