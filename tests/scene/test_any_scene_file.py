"""Whatever a scene file holds: a scene or faults with places, never anything else."""

import random
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st

from compositor.base.errors import UnusableInput
from compositor.scene.loader import LoadedScene, load_scene

EXAMPLE = Path(__file__).with_name("example.yaml").read_text("utf-8")
LINES = EXAMPLE.splitlines()
PIECES = st.sampled_from(
    [
        *"{}[]:,&*!|>'\"%@`#?-\t\n ",
        "null",
        "true",
        ".nan",
        "1e999",
        "-1",
        "&a",
        "*a",
        "<<: ",
        "like: poster",
        "name: plate",
        "\x00",
        "\u2028",
        "é",
    ]
)


def loaded(raw: bytes, options: list[tuple[str, str]]) -> LoadedScene | UnusableInput:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "scene.yaml"
        path.write_bytes(raw)
        try:
            return load_scene(path, options)
        except UnusableInput as error:
            lines = raw.count(b"\n") + raw.count(b"\r") + raw.count(b"\xe2\x80") + raw.count(b"\xc2\x85") + 1
            for fault in error.faults:
                assert fault.file in (str(path), "--set")
                assert fault.column >= 1
                assert 1 <= fault.line <= max(lines, len(options))
                assert len(str(fault).replace(fault.file, "").splitlines()) == 1
                assert "not usable here" not in fault.what
            return error


@given(st.binary(max_size=200))
def test_any_bytes(raw: bytes) -> None:
    assert isinstance(loaded(raw, []), UnusableInput)


@given(st.text(max_size=80), st.text(max_size=30), st.text(max_size=30))
def test_any_text_and_any_setting(text: str, key: str, value: str) -> None:
    result = loaded(text.encode("utf-8", "surrogatepass"), [(key, value)])
    assert isinstance(result, UnusableInput)


@settings(max_examples=300)
@given(st.integers(0, len(EXAMPLE)), st.integers(0, 12), st.lists(PIECES, max_size=4).map("".join))
def test_an_example_with_a_slip_of_the_keyboard(start: int, length: int, piece: str) -> None:
    result = loaded((EXAMPLE[:start] + piece + EXAMPLE[start + length :]).encode(), [])
    assert isinstance(result, LoadedScene | UnusableInput)


@settings(max_examples=150)
@given(st.randoms(use_true_random=False), st.integers(1, 6))
def test_an_example_with_lines_moved_doubled_and_lost(chance: random.Random, times: int) -> None:
    lines = list(LINES)
    for _ in range(times):
        line = lines.pop(chance.randrange(len(lines)))
        for _ in range(chance.randrange(3)):
            lines.insert(chance.randrange(len(lines)), line[chance.randrange(3) :])
    assert isinstance(loaded("\n".join(lines).encode(), []), LoadedScene | UnusableInput)


@settings(max_examples=150)
@given(
    st.sampled_from([line.split(":")[0].strip(" -") for line in LINES if ":" in line]),
    st.sampled_from(
        [
            "",
            "elements.lounge-chair.",
            "elements.second-chair.",
            "elements.poster.",
            "plate.",
            "plate.camera.",
            "deliveries.wide.",
        ]
    ),
    st.sampled_from(
        [
            "1",
            "-1",
            "0",
            "true",
            "x",
            "~",
            "[]",
            "{}",
            "[1, 2]",
            "[[1, 2], [3, 4]]",
            "{a: 1}",
            "[[1, [2]]]",
            ".inf",
            "1e300",
            "plate",
        ]
    ),
)
def test_an_example_with_any_key_set(key: str, parent: str, value: str) -> None:
    assert isinstance(loaded(EXAMPLE.encode(), [(parent + key, value)]), LoadedScene | UnusableInput)
