"""What a scene asks for that this machine cannot write, said before anything is opened."""

from compositor.base.errors import Fault
from compositor.files import exr, web
from compositor.scene.models import Scene


def ability_faults(scene: Scene) -> list[Fault]:
    """Faults of formats that need a library which is not there."""
    faults = []
    for index, delivery in enumerate(scene.deliveries):
        if delivery.format in ("webp", "avif") and not web.can_write(delivery.format):
            what = f"{delivery.format} cannot be written here: this Pillow was built without it"
            faults.append(Fault(("deliveries", index, "format"), f"{what}; use another format"))
    for index, kind in enumerate(scene.layers):
        if kind == "exr" and not exr.can_write():
            what = "exr needs the library OpenEXR: pip install 'compositor[exr]'"
            faults.append(Fault(("layers", index), what))
    return faults
