"""The demo that ships with the program: a small theatre's order, copied where it can be played with."""

from __future__ import annotations

import shutil
from pathlib import Path

from nesting.model.errors import InputError

__all__ = ["DEMO", "copy_of_demo"]

DEMO = Path(__file__).parent / "demo_files"


def copy_of_demo(folder: Path) -> Path:
    """The order of the demo's copy in ``folder``/nesting-demo, made where it is not there yet; what was done to an
    older copy stays. InputError where it cannot be written."""
    place = folder / "nesting-demo"
    order = place / "chorus.toml"
    if order.is_file():
        return order
    try:
        place.mkdir(exist_ok=True)
        for source in sorted(DEMO.iterdir()):
            if source.is_file() and not source.name.startswith(("__", ".")):
                shutil.copyfile(source, place / source.name)
    except OSError as error:
        raise InputError(
            f"the demo cannot be copied here ({error.strerror}): start it in a folder of your own",
            file=place,
            code="file.not-written",
        ) from None
    return order
