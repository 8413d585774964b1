"""The list job: a scene's variants and what each changes."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from compositor.scene.batch import LoadedVariant, load_batch


@dataclass(frozen=True)
class Listing:
    """Variants in their order."""

    variants: Sequence[LoadedVariant]

    def as_json(self) -> str:
        """Names, and dotted keys with values as people write them."""
        listed = [{"name": variant.name, "set": dict(variant.changes)} for variant in self.variants]
        return json.dumps({"variants": listed}, indent=1, ensure_ascii=False) + "\n"

    def as_text(self) -> str:
        """A line for each variant and one for each key that it changes."""
        lines = []
        for variant in self.variants:
            lines.append(variant.name + ("" if variant.changes else "  (the scene itself)"))
            lines += [f"    {key} = {value}" for key, value in variant.changes]
        return "\n".join(lines) + "\n"


def list_variants(path: Path, settings: Sequence[tuple[str, str]], patterns: Sequence[str] = ()) -> Listing:
    """The variants of a scene, each checked as far as its words go. Raises UnusableInput."""
    return Listing(load_batch(path, settings, patterns))
