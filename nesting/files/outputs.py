"""Outputs are written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from nesting.model.errors import InputError

__all__ = ["ready_folder", "write_outputs"]


def ready_folder(folder: Path) -> Path:
    """Make ``folder`` if need be and make sure that files can be written there.

    Raises InputError if it is a file, cannot be made or cannot be written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".nesting-", dir=folder)
        os.close(handle)
        os.unlink(name)
    except FileExistsError:
        raise InputError(
            "this is a file, but a folder was expected for the results: give another with -o",
            file=folder,
            code="file.not-folder",
        ) from None
    except OSError as error:
        raise InputError(
            f"the results cannot be written here ({error.strerror}): give another folder with -o",
            file=folder,
            code="file.not-written",
        ) from None
    return folder


def write_outputs(files: Mapping[Path, bytes]) -> None:
    """Write all files, or none of them: each goes to a temporary neighbour first, then all are renamed.

    Raises InputError if one cannot be written; what was there before is then untouched.
    """
    staged: list[tuple[str, Path]] = []
    asked: Path | None = None
    try:
        for path, content in files.items():
            asked = path
            handle, name = tempfile.mkstemp(prefix=".nesting-", dir=path.parent)
            staged.append((name, path))
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
            os.chmod(name, 0o644)
        for _, path in staged:
            asked = path
            if path.is_dir():
                raise IsADirectoryError(21, "a folder of that name is in the way", str(path))
        for name, path in staged:
            asked = path
            os.replace(name, path)
    except OSError as error:
        # the temporary neighbour's name tells nobody anything
        raise InputError(
            f"a result cannot be written ({error.strerror}); nothing was changed", file=asked, code="file.not-written"
        ) from None
    finally:
        for name, _ in staged:
            with suppress(OSError):
                os.unlink(name)
