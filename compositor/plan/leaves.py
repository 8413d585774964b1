"""Differences of nested plain values, by key."""

from collections.abc import Iterator, Mapping
from typing import Any

_NOTHING = object()
_LONGEST = 60
_NONE = "nothing"
_ROUNDING = 1e-9  # where a number should be 0, libraries differ by as much
_UNITS = {
    "_per_m": " per m",
    "_px": " px",
    "_m": " m",
    "_deg": "°",
    "_stops": " stops",
    "_mired": " mired",
    "_cc": " CC",
    "_fraction": "",
    "_ratio": "",
}
"""What a key's end says of its numbers; a person reads it behind them."""


def leaf_changes(old: Any, new: Any, fraction: float, key: str = "") -> Iterator[str]:
    """Sentences such as ``shadow.softness 3.2 → 4.1 px``; numbers that differ by less than a fraction are equal."""
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        for name in [*old, *(name for name in new if name not in old)]:
            below = f"{key}.{name}" if key else str(name)
            yield from leaf_changes(old.get(name, _NOTHING), new.get(name, _NOTHING), fraction, below)
        return
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        changed = [pair for pair in zip(old, new, strict=True) if any(leaf_changes(*pair, fraction))]
        if len(changed) > 1 or not any(isinstance(item, Mapping) for item in (*old, *new)):
            if changed:
                yield _told(key, old, new)
            return
        for one, other in changed:
            yield from leaf_changes(one, other, fraction, key)
        return
    if not _equal(old, new, fraction):
        yield _told(key, old, new)


def _told(key: str, old: Any, new: Any) -> str:
    """One change, the unit behind the numbers."""
    end = next((end for end in _UNITS if key.endswith(end)), "")
    unit = _UNITS.get(end, "")
    before, after = _short(old), _short(new)
    after, before = (after, before + unit) if after == _NONE else (after + unit, before)
    return f"{key.removesuffix(end)} {before} → {after}"


def _equal(old: Any, new: Any, fraction: float) -> bool:
    numbers = all(isinstance(value, int | float) and not isinstance(value, bool) for value in (old, new))
    if numbers:
        return bool(abs(new - old) <= fraction * max(abs(old), abs(new)) + _ROUNDING)
    return bool(old == new)


def _short(value: Any) -> str:
    if value is _NOTHING or value is None:
        return _NONE
    text = str(value)
    if isinstance(value, float):
        text = f"{value:.0f}" if 1e4 <= abs(value) < 1e9 else f"{value:.4g}"
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"
