"""Every file of tests/faults is refused with exactly the faults of its table: place, key and what the sentence says."""

from pathlib import Path

import pytest

from compositor.base.errors import UnusableInput
from compositor.scene.loader import load_scene

FAULTS = Path(__file__).parents[1] / "faults"


def _table() -> dict[str, list[tuple[int, int, str, str]]]:
    table: dict[str, list[tuple[int, int, str, str]]] = {}
    for row in (FAULTS / "expected.tsv").read_text(encoding="utf-8").splitlines()[1:]:
        name, line, column, key, fragment = row.split("\t")
        table.setdefault(name, []).append((int(line), int(column), key, fragment))
    return table


TABLE = _table()


@pytest.mark.parametrize("name", sorted(TABLE))
def test_file_is_refused_with_its_faults(name: str) -> None:
    path = FAULTS / f"{name}.yaml"
    with pytest.raises(UnusableInput) as caught:
        load_scene(path)
    found = caught.value.faults
    assert [(fault.line, fault.column, fault.key) for fault in found] == [row[:3] for row in TABLE[name]]
    for fault, (*_, fragment) in zip(found, TABLE[name], strict=True):
        assert fragment in fault.what
        assert str(fault).startswith(f"{path}:{fault.line}:{fault.column}: ")
        assert "\n" not in str(fault)


def test_table_and_files_are_the_same_set() -> None:
    assert {path.stem for path in FAULTS.glob("*.yaml")} == set(TABLE)
    assert len(TABLE) >= 60


def test_no_sentence_of_a_library_shows() -> None:
    for name in TABLE:
        with pytest.raises(UnusableInput) as caught:
            load_scene(FAULTS / f"{name}.yaml")
        for wording in ("Input should", "not permitted", "not usable here", "form:", "pydantic", "_type"):
            assert all(wording not in fault.what for fault in caught.value.faults), (name, wording)
