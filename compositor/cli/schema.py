"""compositor schema: the JSON Schema of the scene file."""

import json

import typer


def schema() -> None:
    """Print the JSON Schema of the scene file, for completion and checks in an editor."""
    from compositor.scene.schema import scene_schema

    typer.echo(json.dumps(scene_schema(), indent=1, ensure_ascii=False))
