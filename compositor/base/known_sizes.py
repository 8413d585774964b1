"""Published sizes of bodies and objects: how high a thing of a kind is, and at which height a body part sits.

Sources (package data in `tables/`):

anthropometry.csv   C. C. Gordon et al., 2012 Anthropometric Survey of U.S. Army Personnel, NATICK/TR-15/007, 2014;
                    percentiles computed from its public microdata (4082 men, 1986 women, adults of 17 to 58).
proportions.csv     R. Drillis, R. Contini, Body Segment Parameters, 1966, as D. A. Winter, Biomechanics and Motor
                    Control of Human Movement, gives them (figure 4.1): shares of the stature.
objects.csv         standards and rules, named in each row with how far the value was verified.
"""

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

SHOES_M = 0.025
"""What shoes add to a body. Value from memory."""


@dataclass(frozen=True)
class KnownSize:
    """The height in metres of things of a kind: the range, what is typical, and where the numbers come from."""

    kind: str
    low_m: float
    typical_m: float
    high_m: float
    source: str

    @property
    def usual(self) -> str:
        """The range in words."""
        if self.low_m == self.high_m:
            return f"{self.low_m:.2f} m"
        return f"{self.low_m:.2f} to {self.high_m:.2f} m"


_PEOPLE = {"person": ("female", "male"), "woman": ("female",), "man": ("male",)}

_OBJECTS: dict[str, tuple[tuple[str, str], ...]] = {
    "pallet": (("EUR flat pallet", "height"),),
    "container": (("ISO container 1AAA (40 ft high)", "height"), ("ISO container 1A (40 ft)", "height")),
    "door": (("door leaf flush single", "height"), ("door leaf rebated single tall", "height")),
    "handrail": (("handrail top US", "height"),),
    "table": (("dining or work surface US", "height"), ("school table size 14+", "height")),
    "desk": (("desk fixed height EU", "height"),),
    "chair-seat": (("school chair size 14+", "seat height"), ("bench seat US", "height")),
    "traffic-cone": (
        ("traffic cone US high speed or night", "height"),
        ("traffic cone US low speed daytime", "height"),
    ),
    "football-goal": (("football goal", "height"),),
    "basketball-ring": (("basketball ring", "height"),),
    "tennis-net": (("tennis net centre", "height"),),
}
"""Kinds of objects and the rows of objects.csv that give their height."""

KINDS = (*_PEOPLE, *_OBJECTS)
"""Every kind whose height is known."""


def is_person(kind: str | None) -> bool:
    """Whether a kind is one of people."""
    return kind in _PEOPLE


@cache
def known_size(kind: str) -> KnownSize:
    """The size of a kind; people from the 1st to the 99th percentile, shoes included. Raises KeyError."""
    if kind in _PEOPLE:
        rows = [row for row in _table("anthropometry") if row["measure"] == "stature" and row["sex"] in _PEOPLE[kind]]
        middle = sum(float(row["p50"]) for row in rows) / len(rows) / 1000.0
        low, high = min(float(row["p1"]) for row in rows), max(float(row["p99"]) for row in rows)
        source = "survey of U.S. Army personnel 2012, 1st to 99th percentile of adults, in shoes"
        return KnownSize(kind, low / 1000.0 + SHOES_M, middle + SHOES_M, high / 1000.0 + SHOES_M, source)
    listed = {(row["object"], row["dimension"]): row for row in _table("objects")}
    rows = [listed[key] for key in _OBJECTS[kind]]
    values = [float(row[key]) / 1000.0 for row in rows for key in ("mm_min", "mm_nominal", "mm_max") if row[key]]
    nominal = [float(row["mm_nominal"]) / 1000.0 for row in rows if row["mm_nominal"]]
    typical = nominal[0] if nominal else sum(values) / len(values)
    source = ", ".join(dict.fromkeys(row["source"].split(" (")[0] for row in rows))
    return KnownSize(kind, min(values), typical, max(values), source)


_PARTS = (
    ("ankles", "ankle_height"),
    ("knees", "knee_height"),
    ("fingertips of hanging arms", "fingertip_height"),
    ("wrists of hanging arms", "wrist_height"),
    ("hips", "hip_height"),
    ("elbows of hanging arms", "elbow_height"),
    ("chest", "nipple_chest_height"),
    ("shoulders", "shoulder_height"),
    ("chin", "chin_height"),
    ("eyes", "eye_height"),
)


def body_part_at(fraction: float) -> tuple[str, float]:
    """The body part nearest to a share of a standing person's height, and the share at which it sits."""
    shares = {row["feature"]: float(row["fraction_of_stature"]) for row in _table("proportions")}
    found = [(name, shares[feature]) for name, feature in _PARTS] + [("top of the head", 1.0), ("soles", 0.0)]
    return min(found, key=lambda part: abs(part[1] - fraction))


@cache
def _table(name: str) -> tuple[dict[str, str], ...]:
    text = files("compositor.base").joinpath(f"tables/{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))
