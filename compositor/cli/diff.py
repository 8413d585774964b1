"""compositor diff: how settings would move and scale every element."""

import typer

from compositor.cli.options import JsonOption, SceneArgument, SetOption, faults_to_exit_2, settings


def diff(scene: SceneArgument, set_: SetOption = None, json_: JsonOption = False) -> None:
    """Say how each element would move and scale under --set, without drawing anything."""
    with faults_to_exit_2():
        from compositor.jobs.difference import scene_difference

        done = scene_difference(scene, settings(set_))
    typer.echo(done.as_json() if json_ else done.as_text(), nl=False)
