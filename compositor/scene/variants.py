"""Variants as the scene file gives them: a list, axes whose options are combined, and the rows of a table."""

from typing import Annotated, Any

from pydantic import Field

from compositor.scene.part import Name, Part

BASE = "base"
"""The scene itself, which is always there."""

KEYS = ("variants", "axes", "table")
"""Keys of the scene that make variants, and that no variant can change."""

Changes = dict[str, Any]
"""Dotted keys and the values that they get."""


class Variant(Part):
    """One variant: the scene with some keys changed."""

    name: Name = Field(description="Its unique name, which is its folder's; not base, which is the scene itself.")
    set_: Annotated[Changes, Field(min_length=1, max_length=1000)] = Field(
        alias="set",
        description="What is different: dotted keys and their values, as elements.chair.ground.distance: 9;"
        " null removes a key.",
    )


Axes = dict[Name, Annotated[dict[Name, Changes], Field(min_length=1, max_length=1000)]]
