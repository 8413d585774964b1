"""What is wrong with a value, in sentences of our own with the remedy."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from compositor.base.errors import Fault, Key
from compositor.scene import (
    air,
    camera,
    critique,
    delivery,
    element,
    focus,
    graphic,
    light,
    likeness,
    look,
    models,
    plate,
    tolerances,
    variants,
)
from compositor.scene.part import FORM, Forms
from compositor.scene.scalars import resolve
from compositor.scene.suggestions import suggestion
from compositor.scene.tree import Node, child

_FORMS: Mapping[str, Forms] = {
    "horizon": camera.HORIZON_FORMS,
    "lens": camera.LENS_FORMS,
    "height": camera.HEIGHT_FORMS,
    "ground": element.GROUND_FORMS,
    "composition": delivery.COMPOSITION_FORMS,
    "margin": delivery.MARGIN_FORMS,
    "air": air.AIR_FORMS,
    "sun": light.SUN_FORMS,
}

_BESIDE: Mapping[str, tuple[str, ...]] = {
    "horizon": ("plus_minus",),
    "lens": ("sensor_mm",),
    "ground": ("offset",),
    "air": ("colour",),
    "sun": ("shaded",),
}
"""Keys that go beside one of the forms."""

_MODELS: Mapping[str, type[BaseModel]] = {
    "": models.Scene,
    "plate": plate.Plate,
    "camera": camera.Camera,
    "lens": camera.FocalLens,  # the one form of a lens that needs a second key
    "crop": camera.Crop,
    "distortion": camera.Distortion,
    "references": camera.Reference,
    "extend": plate.Extend,
    "holdouts": plate.Holdout,
    "light": light.Light,
    "shadow": light.Shadow,
    "sun": light.LightPatches,
    "focus": focus.Focus,
    "look": look.Look,
    "edges": look.Edges,
    "backdrop": look.Backdrop,
    "elements": element.Element,
    "alternatives": element.Alternative,
    "marks": critique.MarkWords,
    "tolerances": tolerances.TolerancesWords,
    "deliveries": delivery.Delivery,
    "safe": delivery.Safe,
    "likeness": likeness.LikenessWords,
    "graphics": graphic.Graphic,
    "variants": variants.Variant,
}

_BECAUSE: Mapping[str, str] = {
    "roll": "; turn the picture upright first",
    "pitch": "; straight up or down there is no horizon",
    "fov": "; between 0 and 180 degrees, both left out",
    "margin": "; a share of the window, from 0 to below 0.5",
    "distance": "; what is placed stands in front of the camera",
}

_ENTRIES: Mapping[str, tuple[str, str]] = {
    "lines": ("edge", "edges"),
    "groups": ("group of edges", "groups of edges"),
    "references": ("reference", "references"),
    "from_plate": ("point", "points"),
    "around": ("name", "names"),
    "set": ("key", "keys"),
    "axes": ("option", "options"),
}
"""What lists hold, one and several."""


@dataclass(frozen=True)
class KeyFault(Fault):
    """A fault of a key's word, to be shown where that word and not where its value is written."""

    word: Key = ()


def explain(error: ErrorDetails, root: Node) -> list[Fault]:
    """The faults of one error found by the models, by keys of the tree."""
    kind, key = error["type"], _key(error, root)
    if kind == "extra_forbidden":
        return [KeyFault(key, unknown_key(key, _form(error)), word=key)]
    if kind == "forms":
        return _no_form(key, root)
    if kind == "literal_error" and error["loc"][-1] == FORM + "text":
        return [Fault(key, _FORMS[str(key[-1])].wanted)]
    node = _at(root, key)
    if kind == "too_short" and node is not None and len(node.items) >= error["ctx"]["min_length"]:
        return []  # too few good entries, and the bad ones have faults of their own
    sentence = _SENTENCES.get(kind)
    what = "not usable here" if sentence is None else sentence(error.get("ctx", {}), node, key)
    return [Fault(key, what + (_BECAUSE.get(str(key[-1]), "") if kind in _RANGES and key else ""))]


def known_keys(parent: Key) -> tuple[str, ...]:
    """The keys that may stand in the mapping at a key."""
    named = [part for part in parent if isinstance(part, str)]
    holder = named[-1] if named else ""
    if holder in _FORMS:
        return (*_FORMS[holder].keys, *_BESIDE.get(holder, ()))
    model = _model(tuple(named))
    return () if model is None else tuple(field.alias or name for name, field in model.model_fields.items())


def _model(named: tuple[str, ...]) -> type[BaseModel] | None:
    """The model of a mapping, by the keys that lead to it."""
    if named[:-1] == ("graphics", "deliveries"):
        return graphic.GraphicPlace
    if named[-2:] == ("light", "shadow"):  # a shadow in the plate, not an element's
        return light.SunShadow
    if named == ("deliveries", "crop"):  # of the full frame, not of a camera's original
        return delivery.DeliveryCrop
    if named[-2:] == ("elements", "light"):
        return element.OwnLight
    return _MODELS.get(named[-1] if named else "")


def unknown_key(key: Key, form: str | None = None) -> str:
    """The sentence for a key that is not known, with the nearest that is. form: the one that its mapping has."""
    word, known = str(key[-1]), known_keys(key[:-1])
    if form is not None and word in known:
        return f"does not go with `{form}`; remove it"
    if word == "<<":
        return "unknown key; merging mappings is no part of YAML 1.2, elements have `like` for it"
    inside = [f"{name}.{word}" for name in known if word in known_keys((name,))]
    if inside:
        return f"unknown key here; did you mean `{inside[0]}`?"
    return "unknown key" + suggestion(word, known)


def _key(error: ErrorDetails, root: Node) -> Key:
    """The error's place as a key of the tree: without tags of forms and without steps that the file does not have."""
    steps, last = error["loc"], len(error["loc"]) - 1
    key: list[str | int] = []
    node: Node | None = root
    for position, step in enumerate(steps):
        wanted = position == last and error["type"] in ("missing", "extra_forbidden")
        if isinstance(step, str) and step.startswith(FORM) and not wanted:
            continue
        below = None if node is None else child(node, step)
        if below is not None or wanted:
            key.append(step)
            node = below
    return tuple(key)


def _form(error: ErrorDetails) -> str | None:
    """The form whose mapping an error lies in."""
    holder = error["loc"][-2] if len(error["loc"]) > 1 else None
    return holder.removeprefix(FORM) if isinstance(holder, str) and holder.startswith(FORM) else None


def _at(root: Node, key: Key) -> Node | None:
    node: Node | None = root
    for part in key:
        node = None if node is None else child(node, part)
    return node


def _no_form(key: Key, root: Node) -> list[Fault]:
    """None of the forms of a key, or two at once."""
    forms, node = _FORMS[str(key[-1])], _at(root, key)
    if node is None or not isinstance(node.value, dict):
        return [Fault(key, forms.wanted)]
    present = sorted(name for name in forms.keys if name in node.mapping)
    if len(present) > 1:
        what = f"two forms at once: {', '.join(present)}; keep one"
        added = [name for name in present if node.mapping[name].place.file != node.place.file]
        return [KeyFault(key, what, word=(*key, added[0])) if added else Fault(key, what)]
    unknown = [name for name in node.mapping if name not in known_keys(key)]
    if unknown:
        return [KeyFault((*key, name), unknown_key((*key, name)), word=(*key, name)) for name in unknown]
    return [Fault(key, f"needs one of: {', '.join(forms.keys)}")]


Context = Mapping[str, Any]


def _missing(_: Context, node: Node | None, key: Key) -> str:
    """What the key is for, in the words of its description."""
    if key[-1] in ("horizon", "ground"):
        return "missing: " + _FORMS[str(key[-1])].wanted.removeprefix("must be ")
    named = [part for part in key[:-1] if isinstance(part, str)]
    model = _model(tuple(named))
    for name, field in {} if model is None else model.model_fields.items():
        if key[-1] == (field.alias or name) and field.description is not None:
            return "missing: " + field.description[0].lower() + field.description[1:].rstrip(".")
    return "missing"


def _number(whole: bool) -> Callable[[Context, Node | None, Key], str]:
    def sentence(_: Context, node: Node | None, key: Key) -> str:
        quoted = node is not None and node.text is not None and isinstance(resolve(node.text), int | float)
        return f"must be a {'whole ' if whole else ''}number" + ("; remove the quotes" if quoted else "")

    return sentence


def _text(_: Context, node: Node | None, key: Key) -> str:
    scalar = node is not None and not isinstance(node.value, dict | list)
    return "must be a text" + ("; put it in quotes" if scalar else "")


def _choice(context: Context, node: Node | None, key: Key) -> str:
    words = str(context["expected"]).replace("'", "").replace(" or ", ", ").split(", ")
    wanted = "must be " + (f"{', '.join(words[:-1])} or {words[-1]}" if len(words) > 1 else words[0])
    text = None if node is None else node.text
    near = "" if text is None else suggestion(text, words)
    return wanted + (near if near.startswith("; did you mean") else "")


def _count(least: bool) -> Callable[[Context, Node | None, Key], str]:
    def sentence(context: Context, node: Node | None, key: Key) -> str:
        named = [part for part in key if isinstance(part, str)]
        holder = "lines" if named[-1:] == ["groups"] and isinstance(key[-1], int) else "".join(named[-1:])
        bound = context["min_length"] if least else context["max_length"]
        entries = _ENTRIES.get(holder, ("entry", "entries"))[bound != 1]
        return f"needs at least {bound} {entries}" if least else f"takes at most {bound} {entries}"

    return sentence


def _bound(words: str, name: str) -> Callable[[Context, Node | None, Key], str]:
    return lambda context, node, key: f"must be {words} {context[name]:.12g}"


def _fixed(sentence: str) -> Callable[[Context, Node | None, Key], str]:
    return lambda context, node, key: sentence


_RANGES = frozenset({"greater_than", "greater_than_equal", "less_than", "less_than_equal", "literal_error"})

_SENTENCES: Mapping[str, Callable[[Context, Node | None, Key], str]] = {
    "missing": _missing,
    "float_type": _number(whole=False),
    "int_type": _number(whole=True),
    "finite_number": _fixed("must be a finite number"),
    "string_type": _text,
    "bool_type": _fixed("must be true or false"),
    "model_type": _fixed("must be a mapping of keys and values"),
    "dict_type": _fixed("must be a mapping of keys and values"),
    "tuple_type": _fixed("must be a list"),
    "literal_error": _choice,
    "greater_than": _bound("greater than", "gt"),
    "greater_than_equal": _bound("at least", "ge"),
    "less_than": _bound("less than", "lt"),
    "less_than_equal": _bound("at most", "le"),
    "too_short": _count(least=True),
    "too_long": _count(least=False),
    "string_too_short": _fixed("must not be empty"),
    "string_too_long": lambda context, node, key: f"is too long; {context['max_length']} characters at most",
    "version": _fixed("must be 1, the version of this format"),
    "two": lambda context, node, key: f"must be {context['wanted']}",
    "name": lambda context, node, key: str(context["fault"]),
    "control": _fixed("must not hold control characters or line breaks"),
    "percent": lambda context, node, key: _FORMS["horizon"].wanted,
    "coincide": _fixed("the two are the same; they must differ"),
    "upright_horizon": _fixed("one point above the other makes an upright horizon; turn the picture first"),
    "no_extent": _fixed("base and top are the same point; they must differ"),
    "kind": lambda context, node, key: f"no kind of known height{context['near']}",
    "size_name": lambda context, node, key: f"no published size of that name{context['near']}",
    "sides": _fixed("must be four shares, [left, top, right, bottom], which leave something free between them"),
    "colour": _fixed('must be a colour "#rrggbb" or "#rrggbbaa", in quotes'),
    "opaque_colour": _fixed('must be a colour "#rrggbb", in quotes'),
    "box": _fixed("must be four shares from 0 to 1, [left, top, right, bottom], left < right and top < bottom"),
    "copy_control": _fixed("must not hold control characters"),
    "copy_empty": _fixed("is empty; write the copy, or remove the graphic"),
    "moment": _fixed("must be a time with its offset from UTC, such as 2026-06-21T18:30:00+02:00"),
    "no_area": _fixed("the points enclose no area; go round the element along its outline"),
}
