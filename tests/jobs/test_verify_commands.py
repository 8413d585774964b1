"""The commands approve, verify, compare, diff and render --page: exit statuses, nothing but JSON where it is asked."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from typer.testing import CliRunner

from compositor.cli.app import app

Write = Callable[..., Path]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    monkeypatch.delenv("CI", raising=False)
    monkeypatch.chdir(tmp_path)
    return lambda *arguments: CliRunner().invoke(app, [str(each) for each in arguments])


def test_from_approve_to_verify(run: Callable[..., Any], words: dict[str, Any], write: Write, tmp_path: Path) -> None:
    path = write(words)
    missing = run("verify", path, "--json")
    assert missing.exit_code == 1
    (picture,) = json.loads(missing.stdout)["pictures"]
    assert picture["name"] == "base/composite" and picture["status"] == "missing"
    assert (tmp_path / picture["files"]["new"]).exists()
    approved = run("approve", path, "--json")
    assert approved.exit_code == 0
    assert json.loads(approved.stdout)["pictures"][0]["approval"] == "approved for the first time"
    match = run("verify", path, "--junit", "report/junit.xml")
    assert match.exit_code == 0 and "1 match" in match.stdout and (tmp_path / "report" / "junit.xml").exists()
    assert (tmp_path / "outputs" / "scene.verify" / "page.html").exists()
    differs = run("verify", path, "--set", "elements.post.ground.distance=6.2", "--json")
    (picture,) = json.loads(differs.stdout)["pictures"]
    assert differs.exit_code == 1 and picture["status"] == "differs"
    assert set(picture) >= {"name", "status", "plan_changes", "figures"}
    assert picture["plan_changes"][0]["text"].startswith("post contact ")


def test_a_variant_that_fails_gives_3(run: Callable[..., Any], words: dict[str, Any], write: Write) -> None:
    words["variants"] = [{"name": "broken", "set": {"elements.post.image": "missing.png"}}]
    done = run("verify", write(words), "--json")
    assert done.exit_code == 3 and "variant broken failed" in done.stderr and json.loads(done.stdout)["failed"]


def test_unusable_input_gives_2(run: Callable[..., Any], folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for arguments in (("verify", folder / "no.yaml"), ("compare", folder / "plate.png", folder / "no.png")):
        done = run(*arguments)
        assert done.exit_code == 2 and done.stdout == "" and "Traceback" not in done.stderr
        assert ":1:1: " in done.stderr
    monkeypatch.setenv("CI", "true")
    refused = run("approve", folder / "no.yaml")
    assert refused.exit_code == 2 and "--even-in-ci" in refused.stderr


def test_compare_files(run: Callable[..., Any], folder: Path, tmp_path: Path) -> None:
    same = run("compare", folder / "plate.png", folder / "plate.png")
    assert same.exit_code == 0 and "1 match" in same.stdout
    with Image.open(folder / "plate.png") as plate:
        plate.transpose(Image.Transpose.FLIP_TOP_BOTTOM).save(folder / "turned.png")
    other = run("compare", folder / "plate.png", folder / "turned.png", "--json")
    assert other.exit_code == 1 and json.loads(other.stdout)["pictures"][0]["status"] == "differs"
    assert (tmp_path / "outputs" / "plate-turned.compare" / "page.html").exists()


def test_diff(run: Callable[..., Any], words: dict[str, Any], write: Write, tmp_path: Path) -> None:
    path = write(words)
    told = run("diff", path, "--set", "elements.post.ground.distance=5", "--json")
    (change,) = json.loads(told.stdout)["plan_changes"]
    assert told.exit_code == 0 and change["subject"] == "post" and change["down_px"] > 5 and change["scale_ratio"] > 1.1
    assert run("diff", path).stdout == "nothing would move\n"
    assert not (tmp_path / "outputs").exists()


def test_gallery(run: Callable[..., Any], words: dict[str, Any], write: Write, tmp_path: Path) -> None:
    done = run("render", write(words), "--page", "--json")
    page = (tmp_path / "outputs" / "scene" / "page.html").read_text()
    assert done.exit_code == 0 and json.loads(done.stdout)["elements"] and "base/composite" in page
    assert "data-filter=" not in page.split("<script")[0]
