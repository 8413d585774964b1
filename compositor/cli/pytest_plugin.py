"""pytest plugin: scene files collected as tests, one for each variant, against their approved pictures.

`pytest scenes/` verifies, `pytest scenes/ --approve-scenes` approves. Collected are scene files that are named on the
command line, and those in the folders of the ini option `scene_folders` (default: scenes, beside the configuration).
"""

import re
from collections.abc import Iterator
from glob import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from compositor.report.verdict import Verdicts

_SCENE_KEY = re.compile(r'^\s*(\{\s*)?"?scene"?\s*:', re.MULTILINE)
_APPROVED_SECTION = "Captured approved call"  # as pytest calls a section "approved" of the phase "call"
_BEGINNING = 65536  # characters of a file that are looked at for the key


class PicturesDiffer(Exception):
    """Pictures of a variant do not match; the message is what the verdicts say."""


def pytest_addoption(parser: pytest.Parser) -> None:
    """Options of scenes as tests."""
    group = parser.getgroup("compositor")
    group.addoption(
        "--approve-scenes",
        action="store_true",
        help="Approve what the collected scenes render now, instead of testing.",
    )
    group.addoption("--scenes-out", metavar="DIR", default="outputs", help="Where scenes are rendered to: outputs.")
    parser.addini("scene_folders", "Folders whose scene files are tests.", type="args", default=["scenes"])


def pytest_configure(config: pytest.Config) -> None:
    """Approving is nothing that a build server does by accident."""
    if config.getoption("--approve-scenes"):
        from compositor.jobs.verify import in_ci

        if in_ci():
            raise pytest.UsageError("--approve-scenes is refused where CI is true: somebody should look first")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """What was approved is listed, though tests that pass are otherwise silent."""
    for report in terminalreporter.stats.get("passed", ()):
        for title, text in report.sections:
            if title == _APPROVED_SECTION:
                terminalreporter.section(f"{report.head_line or report.nodeid}: approved")
                terminalreporter.write(text)


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> "SceneFile | None":
    """A scene file where it is wanted as a test."""
    if file_path.suffix not in (".yaml", ".yml", ".json") or not _wanted(file_path, parent.config):
        return None
    with file_path.open(encoding="utf-8", errors="replace") as file:
        if not _SCENE_KEY.search(file.read(_BEGINNING)):
            return None
    return SceneFile.from_parent(parent, path=file_path)


def _wanted(file: Path, config: pytest.Config) -> bool:
    started = config.invocation_params.dir
    named = [(started / argument.split("::")[0]).resolve() for argument in config.args]
    folders = [(config.rootpath / folder).resolve() for folder in config.getini("scene_folders")]
    return file in named or any(folder in file.parents for folder in folders)


class SceneFile(pytest.File):
    """A scene file."""

    def collect(self) -> Iterator[pytest.Item]:
        """A test for each variant, and one for approvals that nothing belongs to."""
        from compositor.base.errors import UnusableInput
        from compositor.scene.batch import load_batch

        try:
            names = [variant.name for variant in load_batch(self.path)]
        except UnusableInput as error:
            raise self.CollectError(str(error)) from None
        for name in names:
            yield VariantItem.from_parent(self, name=name)
        yield OrphansItem.from_parent(self, name="nothing orphaned", variants=names)


class _SceneItem(pytest.Item):
    """A test of a scene file; path is the file's."""

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """What differs, the plan first, without a traceback."""
        from compositor.base.errors import CompositorError

        if isinstance(excinfo.value, PicturesDiffer | CompositorError):
            return str(excinfo.value)
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, None, str]:
        """What a report calls it."""
        return self.path, None, f"{self.path.stem}: {self.name}"

    @property
    def shown_path(self) -> Path:
        """The scene file as a person would write it."""
        started = self.config.invocation_params.dir
        return self.path.relative_to(started) if self.path.is_relative_to(started) else self.path


class VariantItem(_SceneItem):
    """A variant's pictures against the approved ones."""

    def runtest(self) -> None:
        """Verify, or approve. Raises PicturesDiffer."""
        from compositor.jobs.approve import Consent, approve_scene
        from compositor.jobs.batch import Choice
        from compositor.jobs.verify import run_folder, verify_scene

        out = Path(self.config.getoption("--scenes-out"))
        choice = Choice(self.shown_path, patterns=(escape(self.name),), jobs=1)
        if self.config.getoption("--approve-scenes"):
            approval = approve_scene(choice, out, Consent())
            if approval.exit_status() != 0:
                raise PicturesDiffer("\n".join([*approval.verdicts.failed, approval.as_text()]))
            self.add_report_section("call", "approved", approval.as_text())
            return
        folder = run_folder(self.shown_path, out) / self.name
        verdicts = verify_scene(choice, out, folder).verdicts
        if verdicts.exit_status() != 0:
            raise PicturesDiffer(_published(verdicts, folder))


class OrphansItem(_SceneItem):
    """Approvals of variants that there are no more."""

    def __init__(self, *, variants: list[str], **rest: Any) -> None:
        super().__init__(**rest)
        self.variants = variants

    def runtest(self) -> None:
        """Look for them, or take them away. Raises PicturesDiffer."""
        from compositor.jobs.proofs import approved_variants, proofs_of, remove_approved

        for name in approved_variants(self.path):
            if name not in self.variants:
                if not self.config.getoption("--approve-scenes"):
                    raise PicturesDiffer(
                        f"{name}: orphaned\n    approved, but no longer made: {proofs_of(self.path, name)}"
                    )
                remove_approved(self.path, name)
                self.add_report_section("call", "approved", f"{name}: taken away\n")


def _published(verdicts: "Verdicts", folder: Path) -> str:
    from compositor.jobs.publishing import publish

    return publish(verdicts, folder, None).as_text()
