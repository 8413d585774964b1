"""compositor list: a scene's variants and what each changes."""

import typer

from compositor.cli.options import (
    JsonOption,
    SceneArgument,
    SetOption,
    VariantOption,
    faults_to_exit_2,
    settings,
)


def list_(
    scene: SceneArgument,
    variant: VariantOption = None,
    set_: SetOption = None,
    json_: JsonOption = False,
) -> None:
    """Name the variants of a scene and what each changes."""
    with faults_to_exit_2():
        from compositor.jobs.listing import list_variants

        listing = list_variants(scene, settings(set_), variant or ())
    typer.echo(listing.as_json() if json_ else listing.as_text(), nl=False)
