"""The house's own rules: which room may use which, nothing heavy loads for help, no check drops its verdict."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "compositor"
# Rows from the top; a room may use what stands in rows below its own, and nothing else.
ROWS = [
    {"cli"},
    {"jobs"},
    {"report", "overlay", "deliver"},
    {"render", "audit"},
    {"solve"},
    {"plan"},
    {"scene", "measure", "files"},
    {"pixels", "geometry", "colour"},
    {"base"},
]
# Tighter than the rows.
FORBIDDEN = {
    "render": {"scene", "solve", "files"},
    "audit": {"scene", "solve", "files"},
    "solve": {"pixels", "files"},
    "plan": {"scene", "measure", "files", "pixels", "colour"},
}
MODULES = sorted(PACKAGE.rglob("*.py"))


def room(path: Path) -> str | None:
    parts = path.relative_to(PACKAGE).parts
    return parts[0] if len(parts) > 1 else None


def imported(path: Path) -> set[str]:
    """Dotted names of our own modules that a module imports, anywhere in it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module is not None:
            assert node.level == 0, f"{path}: relative import"
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return {name for name in found if name.startswith("compositor.")}


def row_of(name: str) -> int:
    return next(index for index, row in enumerate(ROWS) if name in row)


def arrows() -> set[tuple[str, str]]:
    """All (room, used room) pairs."""
    found = set()
    for path in MODULES:
        own = room(path)
        if own is not None:
            found |= {(own, name.split(".")[1]) for name in imported(path)}
    return {(own, used) for own, used in found if own != used}


def test_every_room_is_listed() -> None:
    rooms = {path.name for path in PACKAGE.iterdir() if path.is_dir() and path.name != "__pycache__"}
    assert rooms == set().union(*ROWS)


def test_arrows_point_down() -> None:
    wrong = [
        f"{own} -> {used}" for own, used in arrows() if row_of(used) <= row_of(own) or used in FORBIDDEN.get(own, set())
    ]
    assert not wrong


def test_no_rings_inside_a_room() -> None:
    graph: dict[str, set[str]] = {}
    for path in MODULES:
        name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        graph[name] = {used for used in imported(path) if used != name}
    done: set[str] = set()

    def visit(name: str, path: tuple[str, ...]) -> None:
        assert name not in path, " -> ".join((*path, name))
        if name not in done:
            for used in graph.get(name, ()):
                visit(used, (*path, name))
            done.add(name)

    for name in graph:
        visit(name, ())


def test_help_loads_nothing_heavy() -> None:
    code = "import sys, compositor.cli.app; print([m for m in ('numpy', 'cv2', 'pydantic', 'PIL') if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_no_comparison_is_dropped() -> None:
    """A bare `a == b` or `approx(...)` on a line of its own checks nothing."""
    for path in (ROOT / "tests").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Expr):
                assert not isinstance(node.value, ast.Compare), f"{path}:{node.lineno}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.stem)
def test_modules_stay_small(path: Path) -> None:
    assert len(path.read_text().splitlines()) <= 400


def test_opencv_is_imported_in_one_place() -> None:
    """Its settings (base/opencv.py) must be made before it loads, whoever comes first."""
    for path in MODULES:
        plain = "import cv2" in path.read_text().replace("from compositor.base.opencv import cv2", "")
        assert plain == (path.name == "opencv.py"), path
