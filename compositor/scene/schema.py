"""The scene file as a JSON Schema, which editors use to complete and to check while somebody types."""

from typing import Any

from compositor.scene.models import Scene

DIALECT = "https://json-schema.org/draft/2020-12/schema"
"""JSON Schema, draft 2020-12."""


def scene_schema() -> dict[str, Any]:
    """The schema of a scene file. An element that is `like` another needs its name only, and null drops a key there."""
    schema = Scene.model_json_schema(by_alias=True, mode="validation")
    definitions = schema.pop("$defs")
    for definition in (schema, *definitions.values()):
        definition["description"] = " ".join(definition["description"].split("\n\n")[0].split())
    for definition in (schema, *definitions.values()):
        for field in definition["properties"].values():
            _tidy(field, definitions)
    _loosen(definitions["Element"])
    return {"$schema": DIALECT, **schema, "title": "Scene of compositor", "$defs": definitions}


def _loosen(element: dict[str, Any]) -> None:
    """What an element needs depends on its kind, and nothing but its name when it is like another."""
    fields = element["properties"]
    for name in set(fields) - {"name", "like"}:
        fields[name] = {"description": fields[name].pop("description"), "anyOf": [fields[name], {"type": "null"}]}
    element["required"] = ["name"]
    element["anyOf"] = [
        {"required": ["like"]},
        {"required": ["ground", "image", "camera", "contact"]},
        {"required": ["ground", "image", "size"]},
        {"required": ["ground", "from_plate", "contact"]},
    ]


def _tidy(field: dict[str, Any], definitions: dict[str, Any]) -> None:
    """Takes off the made-up title, the default null, and null itself, which the loader refuses."""
    field.pop("title", None)
    if field.get("default", 0) is None:
        del field["default"]
    choices = field.get("anyOf", [])
    if {"type": "null"} in choices:
        choices.remove({"type": "null"})
        if len(choices) == 1:
            del field["anyOf"]
            field.update({key: value for key, value in choices[0].items() if key not in field})
    if "description" not in field:
        field["description"] = definitions[field["$ref"].rsplit("/", 1)[-1]]["description"]
