"""The checker checked: approvals altered on purpose, each status, exit statuses, and what a run leaves."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from compositor.base.errors import UnusableInput
from compositor.jobs.approve import Consent, approve_scene
from compositor.jobs.batch import Choice
from compositor.jobs.compare import compare_paths
from compositor.jobs.looking import SMALL, open_look, small_jpeg
from compositor.jobs.proofs import proofs_of, small_picture
from compositor.jobs.publishing import publish
from compositor.jobs.render import render_scene
from compositor.jobs.verify import verify_scene
from compositor.report.junit import junit_xml
from compositor.report.verdict import Verdict, Verdicts

Words = dict[str, Any]
Write = Callable[..., Path]


@pytest.fixture(autouse=True)
def nobodys_build_server(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CI", raising=False)


@pytest.fixture
def scene(words: Words, write: Write, tmp_path: Path) -> Path:
    """A scene with two deliveries and a variant, approved."""
    words["deliveries"] = [{"name": "whole"}, {"name": "small", "size": [240, 160], "format": "jpeg"}]
    words["variants"] = [{"name": "far", "set": {"elements.post.ground.distance": 8}}]
    path = write(words)
    approve_scene(Choice(path), tmp_path / "out", Consent())
    return path


def verified(path: Path, *patterns: str, **settings: str) -> Verdicts:
    chosen = [(key.replace("__", "."), value) for key, value in settings.items()]
    return verify_scene(Choice(path, chosen, patterns), path.parent / "out").verdicts


def statuses(verdicts: Verdicts) -> dict[str, str]:
    return {verdict.name: verdict.status for verdict in verdicts.verdicts}


def edited(path: Path, change: Callable[[Words], Any]) -> None:
    words = json.loads(path.read_text())
    change(words)
    path.write_text(json.dumps(words))


def test_what_was_approved_matches(scene: Path) -> None:
    verdicts = verified(scene)
    assert set(statuses(verdicts)) == {"base/whole", "base/small", "far/whole", "far/small"}
    assert set(statuses(verdicts).values()) == {"match"} and verdicts.exit_status() == 0


def test_approvals_are_small_and_beside_the_scene(scene: Path) -> None:
    base = scene.parent / "proofs" / "scene" / "base"
    assert proofs_of(scene, "base") == base
    assert {path.name for path in base.iterdir()} == {"whole.jpg", "small.jpg", "plan.json", "proof.json"}
    assert all(path.stat().st_size <= SMALL.size_bytes for path in base.iterdir())


def test_approving_twice_writes_the_same_bytes(scene: Path, tmp_path: Path) -> None:
    folder = proofs_of(scene)
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    for path in before:
        path.unlink()
    approve_scene(Choice(scene), tmp_path / "out", Consent())
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def test_missing_says_where_the_new_picture_lies(scene: Path) -> None:
    for path in proofs_of(scene, "far").iterdir():
        path.unlink()
    verdicts = verified(scene)
    assert statuses(verdicts)["far/whole"] == "missing" and statuses(verdicts)["base/whole"] == "match"
    assert verdicts.exit_status() == 1
    new = scene.parent / "out" / "scene" / "far" / "whole.png"
    assert new.exists() and str(new) in verdicts.as_text() and f"compositor approve {scene}" in verdicts.as_text()


def test_an_altered_approval_differs(scene: Path) -> None:
    """Somebody paints into the approved picture: the hash beside it cannot save it."""
    picture = proofs_of(scene, "base") / "whole.jpg"
    with Image.open(picture) as opened:
        samples = np.asarray(opened).copy()
        icc = opened.info["icc_profile"]
    samples[100:112, 300:312] = (250, 240, 20)
    Image.fromarray(samples).save(picture, quality=95, icc_profile=icc)
    verdicts = verified(scene)
    assert statuses(verdicts)["base/whole"] == "differs" and verdicts.exit_status() == 1
    worst = next(v for v in verdicts.verdicts if v.name == "base/whole")
    assert worst.worst_box_px is not None
    left, top, right, bottom = worst.worst_box_px
    assert left <= 306 <= right and top <= 106 <= bottom


def test_a_moved_element_differs_plan_first(scene: Path) -> None:
    verdicts = verified(scene, elements__post__ground__offset="-0.4")
    lines = verdicts.as_text().splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("base/whole"))
    assert (
        lines[at] == "base/whole: differs" and "post contact " in lines[at + 1] and "px farther right" in lines[at + 1]
    )
    record = next(v for v in json.loads(verdicts.as_json())["pictures"] if v["name"] == "base/whole")
    assert record["status"] == "differs" and record["plan_changes"][0]["subject"] == "post"
    assert record["plan_changes"][0]["right_px"] > 3 and record["figures"]["patch"] > 250
    assert Path(record["files"]["difference"]).exists()


def test_an_altered_plan_differs_though_every_sample_is_equal(scene: Path) -> None:
    edited(proofs_of(scene, "base") / "plan.json", lambda plan: plan["elements"][0].update(scale_ratio=2.0))
    verdicts = verified(scene)
    assert statuses(verdicts)["base/whole"] == "differs" and statuses(verdicts)["far/whole"] == "match"
    assert "the plan is another" in verdicts.as_text()


def test_size_changed(scene: Path) -> None:
    edited(scene, lambda words: words["deliveries"][1].update(size=[120, 80]))
    verdicts = verified(scene)
    assert statuses(verdicts)["base/small"] == "size changed" and verdicts.exit_status() == 1
    assert "240 × 160 px became 120 × 80 px" in verdicts.as_text()


def test_orphaned_delivery_and_variant(scene: Path) -> None:
    edited(scene, lambda words: (words["deliveries"].pop(1), words["variants"].clear()))
    verdicts = verified(scene)
    assert statuses(verdicts) == {
        "base/whole": "match",
        "base/small": "orphaned",
        "far/whole": "orphaned",
        "far/small": "orphaned",
    }
    assert verdicts.exit_status() == 1


def test_with_chosen_variants_the_others_are_no_orphans(scene: Path) -> None:
    assert set(statuses(verified(scene, "base"))) == {"base/whole", "base/small"}


def test_noise_of_one_level_in_the_plate_is_no_difference(scene: Path, folder: Path) -> None:
    with Image.open(folder / "plate.png") as opened:
        plate = np.asarray(opened).astype(int)
    plate += np.random.default_rng(3).integers(-1, 2, plate.shape)
    Image.fromarray(np.clip(plate, 0, 255).astype(np.uint8)).save(folder / "plate.png")
    verdicts = verified(scene)
    assert set(statuses(verdicts).values()) == {"match"}
    assert all(v.figures["largest_difference"] > 0 for v in verdicts.verdicts if v.name.endswith("whole"))


def test_another_jpeg_quality_is_no_difference(scene: Path) -> None:
    edited(scene, lambda words: words["deliveries"][1].update(quality=84))
    verdicts = verified(scene)
    assert set(statuses(verdicts).values()) == {"match"}, verdicts.as_text()
    assert all(v.figures.get("mean_difference", 0) > 0 for v in verdicts.verdicts if v.name.endswith("small"))


@pytest.mark.parametrize("content", ["", "{}", '{"versions": {}, "pictures": {"whole": 1}}', "[]"])
def test_approvals_that_cannot_be_read(scene: Path, content: str) -> None:
    record = proofs_of(scene, "base") / "proof.json"
    record.write_text(content)
    with pytest.raises(UnusableInput) as caught:
        verified(scene)
    assert caught.value.faults[0].file == str(record)


def test_an_approval_that_is_a_pointer_says_so(scene: Path, folder: Path) -> None:
    picture = proofs_of(scene, "base") / "whole.jpg"
    picture.write_text((folder / "pointer.png").read_text())
    with pytest.raises(UnusableInput) as caught:
        verified(scene)
    assert "git lfs pull" in str(caught.value) and caught.value.faults[0].file == str(picture)


def test_approving_lists_what_changes_and_only_touches_that(scene: Path, tmp_path: Path) -> None:
    base = {path: path.stat().st_mtime_ns for path in proofs_of(scene, "base").iterdir()}
    edited(scene, lambda words: words["variants"][0]["set"].update({"elements.post.ground.distance": 9}))
    told = approve_scene(Choice(scene), tmp_path / "out", Consent())
    text = told.as_text()
    assert "far/whole: approved anew\n    post contact " in text and "% smaller" in text
    assert "2 of 4 stay as they are" in text
    assert {path: path.stat().st_mtime_ns for path in proofs_of(scene, "base").iterdir()} == base
    assert verified(scene).exit_status() == 0


def test_approving_takes_orphans_away(scene: Path, tmp_path: Path) -> None:
    edited(scene, lambda words: (words["deliveries"].pop(1), words["variants"].clear()))
    assert "far/whole: taken away" in approve_scene(Choice(scene), tmp_path / "out", Consent()).as_text()
    assert not proofs_of(scene, "far").exists() and not (proofs_of(scene, "base") / "small.jpg").exists()
    assert verified(scene).exit_status() == 0


def test_a_build_server_does_not_approve_by_accident(
    words: Words, write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(words)
    monkeypatch.setenv("CI", "true")
    with pytest.raises(UnusableInput, match="--even-in-ci"):
        approve_scene(Choice(path), tmp_path / "out", Consent())
    assert not proofs_of(path).exists()
    approve_scene(Choice(path), tmp_path / "out", Consent(even_in_ci=True))
    assert verified(path).exit_status() == 0


def test_nothing_is_approved_where_a_variant_failed(words: Words, write: Write, tmp_path: Path) -> None:
    words["variants"] = [{"name": "broken", "set": {"elements.post.image": "missing.png"}}]
    path = write(words)
    told = approve_scene(Choice(path), tmp_path / "out", Consent())
    assert told.exit_status() == 3 and "nothing approved" in told.as_text() and not proofs_of(path).exists()
    assert verified(path).exit_status() == 3


def test_what_a_run_leaves(scene: Path, tmp_path: Path) -> None:
    verdicts = verified(scene, elements__post__ground__offset="-0.4")
    done = publish(verdicts, tmp_path / "run", tmp_path / "junit.xml")
    assert done.page == str(tmp_path / "run" / "page.html")
    assert json.loads((tmp_path / "run" / "record.json").read_text())["counts"]["differs"] == 4
    suite = ElementTree.parse(tmp_path / "junit.xml").getroot()
    assert suite.get("tests") == "4" and suite.get("failures") == "4"
    assert "post contact" in (suite.findtext("testcase/failure") or "")


def test_junit_has_no_characters_that_xml_has_no_place_for() -> None:
    odd = "a\x00b\x08c\x1b[31m\x0bd\ufffe\ud800"
    xml = junit_xml(Verdicts(odd, [Verdict(odd, "differs", reasons=(odd,))], failed=(odd,)))
    assert ElementTree.fromstring(xml).get("errors") == "1"
    assert not set(xml) & (set(range(32)) - {9, 10, 13})


# --- compare


def test_two_renders_of_a_scene(words: Words, write: Write, tmp_path: Path) -> None:
    path = write(words)
    render_scene(path, [], tmp_path / "one")
    render_scene(path, [("elements.post.ground.distance", "5.5")], tmp_path / "two")
    publish(compare_paths(tmp_path / "one", tmp_path / "two", tmp_path / "two"), tmp_path / "two" / "x.compare", None)
    same = compare_paths(tmp_path / "one", tmp_path / "one", tmp_path / "out")
    assert same.exit_status() == 0 and statuses(same) == {"scene/base/composite.png": "match"}
    verdicts = compare_paths(tmp_path / "one", tmp_path / "two", tmp_path / "out")
    (verdict,) = verdicts.verdicts
    assert verdict.status == "differs" and verdict.plan_changes[0].text.startswith("post contact ")
    assert "px lower" in verdict.plan_changes[0].text and "% larger" in verdict.plan_changes[0].text
    assert any(reason.startswith("post at (") for reason in verdict.reasons)
    with Image.open(verdict.files["difference"]) as picture:
        assert picture.size == (480, 320)


def test_folders_with_other_files(folder: Path, tmp_path: Path) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    for place in (one, two):
        place.mkdir()
    whole = Image.open(folder / "plate.png")
    whole.save(one / "old.png")
    whole.save(two / "new.png")
    whole.save(one / "both.png")
    whole.resize((100, 100)).save(two / "both.png")
    verdicts = compare_paths(one, two, tmp_path / "out")
    assert statuses(verdicts) == {"old.png": "orphaned", "new.png": "missing", "both.png": "size changed"}
    assert verdicts.exit_status() == 1


def test_a_lost_profile_is_a_difference_even_where_it_means_the_same(folder: Path, tmp_path: Path) -> None:
    from compositor.colour.space import SRGB

    with Image.open(folder / "plate.png") as plate:
        plate.save(tmp_path / "tagged.png", icc_profile=SRGB.icc)
        plate.save(tmp_path / "bare.png")
    (verdict,) = compare_paths(tmp_path / "tagged.png", tmp_path / "bare.png", tmp_path / "out").verdicts
    assert verdict.status == "differs" and verdict.reasons == ("colour profile lost",)


def test_transparent_pictures_are_compared_on_white_and_on_black(folder: Path, tmp_path: Path) -> None:
    with Image.open(folder / "post.png") as post:
        samples = np.asarray(post).copy()
    hidden = samples.copy()
    hidden[samples[..., 3] == 0, :3] = 255  # colour that nobody sees
    Image.fromarray(hidden).save(folder / "hidden.png")
    fringed = samples.copy()
    fringed[30:190, 39] = (0, 0, 0, 255)  # black: on black it would not be seen
    fringed[30:190, 80] = (255, 255, 255, 255)
    Image.fromarray(fringed).save(folder / "fringed.png")

    def status(other: str) -> str:
        return compare_paths(folder / "post.png", folder / other, tmp_path / "out").verdicts[0].status

    assert status("hidden.png") == "match" and status("fringed.png") == "differs"


@pytest.mark.parametrize(
    ("one", "other"), [("plate.png", "nothing.png"), ("plate.png", "a-folder"), ("plate.png", "text.png")]
)
def test_what_cannot_be_compared(folder: Path, tmp_path: Path, one: str, other: str) -> None:
    with pytest.raises(UnusableInput):
        compare_paths(folder / one, folder / other, tmp_path / "out")


def test_small_pictures_stay_small() -> None:
    rng = np.random.default_rng(0)
    from compositor.colour.space import SRGB
    from compositor.measure.comparison import Shown

    noisy = Shown(rng.integers(0, 256, (1500, 2000, 3), dtype=np.uint8), SRGB)
    data, side_px = small_jpeg(noisy)
    assert len(data) <= SMALL.size_bytes and 256 <= side_px < 1024
    assert small_jpeg(noisy, side_px)[0] == data
    data, side_px = small_picture(noisy)
    assert len(data) <= 200_000 and 256 <= side_px < 800
    assert small_picture(noisy, side_px)[0] == data
    assert small_picture(Shown(noisy.samples[:200, :300], SRGB))[1] == 300  # small already


def test_facts_are_of_samples_not_of_files(folder: Path, tmp_path: Path) -> None:
    with Image.open(folder / "plate.png") as plate:
        plate.save(tmp_path / "other.png", compress_level=1)
        plate.save(tmp_path / "other.tif")
    facts = [open_look(path).facts for path in (folder / "plate.png", tmp_path / "other.png", tmp_path / "other.tif")]
    assert facts[0] == facts[1] == facts[2]


# --- tolerances in the scene


def faults_of(path: Path) -> list[str]:
    with pytest.raises(UnusableInput) as caught:
        verified(path)
    return [str(fault) for fault in caught.value.faults]


def test_tolerances_of_scene_and_delivery(scene: Path) -> None:
    """A patch is painted into one approval after the other: only the delivery that allows it lets it pass."""
    for variant in ("base", "far"):
        picture = proofs_of(scene, variant) / "whole.jpg"
        with Image.open(picture) as opened:
            samples, icc = np.asarray(opened).copy(), opened.info["icc_profile"]
        samples[100:108, 300:308] = samples[100:108, 300:308] // 2 + 90
        Image.fromarray(samples).save(picture, quality=95, icc_profile=icc)
    assert statuses(verified(scene))["base/whole"] == "differs"
    wide = {"patch": 1e5, "lightness": 2, "similarity": 0.05, "moved": 20, "colour": 20, "reason": "the sign is new"}
    edited(scene, lambda words: words["deliveries"][0].update(likeness=wide))
    assert set(statuses(verified(scene)).values()) == {"match"}
    edited(scene, lambda words: words["deliveries"][0].pop("likeness"))
    edited(scene, lambda words: words.update(likeness=wide))
    assert set(statuses(verified(scene)).values()) == {"match"}
    edited(scene, lambda words: words["deliveries"][0].update(likeness={"patch": 20}))
    assert statuses(verified(scene))["base/whole"] == "differs"


@pytest.mark.parametrize(("key", "value"), [("moved", 2), ("patch", 300), ("similarity", 0.5), ("lightness", 1)])
def test_a_wider_tolerance_needs_a_reason(scene: Path, key: str, value: float) -> None:
    edited(scene, lambda words: words["deliveries"][0].update(likeness={key: value}))
    (fault,) = faults_of(scene)
    assert f"deliveries.whole.likeness.{key}: wider than the house's own tolerance; say why in `reason`" in fault


@pytest.mark.parametrize(("key", "value"), [("moved", 0.2), ("patch", 100), ("similarity", 0.9)])
def test_a_narrower_one_needs_none(scene: Path, key: str, value: float) -> None:
    edited(scene, lambda words: words.update(likeness={key: value}))
    assert verified(scene).exit_status() == 0


def test_unknown_tolerances_are_faults(scene: Path) -> None:
    edited(scene, lambda words: words.update(likeness={"move": 1}))
    assert "did you mean `moved`" in faults_of(scene)[0]
