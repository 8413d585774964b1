"""A plan as JSON: equal plans, equal bytes."""

import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from math import isfinite
from typing import Any

import numpy as np

from compositor.plan.model import Plan

_DIGITS = 10  # by eye: a thousandth of a thousandth of a pixel; libraries may differ in the last of sixteen
PlanData = Mapping[str, Any]
"""A plan as plain values: mappings by field name, lists, numbers, texts."""


def plan_data(plan: Plan) -> dict[str, Any]:
    """A plan as plain values. Numbers are rounded to ten digits, mappings are in the order of their keys."""
    data: dict[str, Any] = _plain(plan)
    return data


def plan_json(plan: Plan) -> str:
    """A plan as JSON text, a line for each number or list of numbers."""
    return _text(plan_data(plan), "") + "\n"


def read_plan(text: str) -> dict[str, Any]:
    """Plain values of a plan from its JSON text. Raises ValueError."""
    data = json.loads(text)
    if not isinstance(data, dict) or not isinstance(data.get("elements"), list):
        raise ValueError("not a plan")
    return data


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(value[key]) for key in sorted(value)}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, np.ndarray | np.generic):
        return _plain(value.tolist())
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}") + 0.0 if isfinite(value) else str(value)  # + 0.0: there is one zero
    return value


def _text(value: Any, indent: str) -> str:
    """JSON with a line per entry, lists of single values on one line."""
    deeper = indent + " "
    if isinstance(value, dict) and value:
        lines = [f"{deeper}{_scalar(key)}: {_text(item, deeper)}" for key, item in value.items()]
        return "{\n" + ",\n".join(lines) + f"\n{indent}}}"
    if isinstance(value, list) and any(isinstance(item, list | dict) for item in value):
        return "[\n" + ",\n".join(deeper + _text(item, deeper) for item in value) + f"\n{indent}]"
    return _scalar(value)


def _scalar(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
