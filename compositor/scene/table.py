"""Variants by a CSV file: a row each, as spreadsheets export them. Source: RFC 4180 for quotes and line ends.

Places are rows and columns of the spreadsheet, both counted from 1, the heading being row 1.
"""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from compositor.base.errors import LocatedFault, UnusableInput
from compositor.scene.kinds import takes_text
from compositor.scene.names import name_fault
from compositor.scene.scene_file import read_text
from compositor.scene.settings import Change
from compositor.scene.suggestions import suggestion
from compositor.scene.tree import Node, Place, one_line
from compositor.scene.yaml_text import parse

NAME = "name"
_DELIMITERS = ",;\t"
_COMMA_NUMBER = re.compile(r"-?[0-9]+,[0-9]+")
MOST_ROWS = 10_000


@dataclass(frozen=True)
class Row:
    """One variant. place: of the cell that holds its name."""

    name: str
    place: Place
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class Table:
    """The rows that can be used, and what is wrong with the others."""

    rows: tuple[Row, ...]
    faults: tuple[LocatedFault, ...]


def read_table(path: Path) -> Table:
    """The rows of a CSV file. Raises UnusableInput (one fault) where it cannot be read as one at all."""
    file = str(path)
    text = read_text(path, file)
    records, delimiter = _records(text, file)
    if not records:
        raise UnusableInput([Place(file, 1, 1).fault("", "the table is empty; it needs a heading and rows")])
    heading = _Heading(file, [cell.strip() for cell in records[0]], delimiter)
    faults = heading.faults()
    rows: list[Row] = []
    for number, cells in enumerate(records[1:], 2):
        if any(cell.strip() for cell in cells):
            row, more = heading.row(number, cells)
            faults += more
            rows += [] if row is None else [row]
    if len(records) == 1 or (not rows and not faults):
        faults.append(Place(file, 1, 1).fault("", "the table has a heading and no rows"))
    return Table(tuple(rows), tuple(faults))


def _records(text: str, file: str) -> tuple[list[list[str]], str]:
    """Rows of cells, and what stands between cells: the sign that the heading holds most of."""
    first = text.lstrip("\r\n").splitlines()[0] if text.strip() else ""
    unquoted = re.sub(r'"[^"]*"', "", first)
    delimiter = max(_DELIMITERS, key=unquoted.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records: list[list[str]] = []
    try:
        for record in reader:
            records.append(record)
            if len(records) > 1 + MOST_ROWS:
                raise UnusableInput([Place(file, len(records), 1).fault("", f"more than {MOST_ROWS} rows")])
    except csv.Error as error:
        what = "a quotation mark that is not closed, or text after one that is; double it inside a cell"
        raise UnusableInput([Place(file, len(records) + 1, 1).fault("", what)]) from error
    return records, delimiter


@dataclass(frozen=True)
class _Heading:
    file: str
    names: Sequence[str]
    delimiter: str

    def place(self, row: int, column: int) -> Place:
        """Of a cell; both count from 1."""
        return Place(self.file, row, column, in_table=True)

    def faults(self) -> list[LocatedFault]:
        found = []
        if NAME not in self.names:
            near = suggestion(NAME, [name for name in self.names if name])
            found.append(
                self.place(1, 1).fault(NAME, f"the table has no column `name`, which names each variant{near}")
            )
        for column, name in enumerate(self.names, 1):
            if name and name in self.names[: column - 1]:
                found.append(self.place(1, column).fault(one_line(name), "the same column twice; keep one"))
        return found

    def row(self, number: int, cells: Sequence[str]) -> tuple[Row | None, list[LocatedFault]]:
        """The variant of a row and its faults."""
        faults: list[LocatedFault] = []
        changes: list[Change] = []
        name: str | None = None
        for column, cell in enumerate(cells, 1):
            key = self.names[column - 1] if column <= len(self.names) else ""
            if not cell.strip():
                continue
            if not key:
                faults.append(
                    self.place(number, column).fault("", "a cell in a column without a heading", one_line(cell))
                )
            elif key == NAME:
                name = cell.strip()
            else:
                change, more = self.change(key, cell, self.place(number, column))
                changes += [] if change is None else [change]
                faults += more
        place = self.place(number, self.names.index(NAME) + 1 if NAME in self.names else 1)
        if name is None:
            missing = [place.fault(NAME, "a row without a name")] if NAME in self.names else []
            return None, [*faults, *missing]
        fault = name_fault(name)
        if fault is not None:
            faults.append(place.fault(NAME, fault, one_line(name)))
        return Row(name, place, tuple(changes)), faults

    def change(self, key: str, cell: str, place: Place) -> tuple[Change | None, list[LocatedFault]]:
        """A cell as a change: a text as it is for keys that are texts, else as YAML."""
        heading = self.place(1, place.column)
        if takes_text(key) and cell.strip() != "null":
            return Change(key, heading, Node(cell, place)), []
        text = cell.strip()
        if self.delimiter != "," and _COMMA_NUMBER.fullmatch(text):
            text = text.replace(",", ".")  # where cells are parted by semicolons, the comma is the decimal sign
        try:
            parsed = parse(text, lambda line, column: place)
        except UnusableInput as error:
            return None, [place.fault(one_line(key), fault.what, one_line(cell)) for fault in error.faults]
        return Change(key, heading, parsed.root), [place.fault(one_line(key), f.what, f.given) for f in parsed.faults]
