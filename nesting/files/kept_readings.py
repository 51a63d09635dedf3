"""What pattern files gave, kept on disk between runs, as reading a large drawing takes longer than a first lay.

A reading is named after the file's content, how it was asked for, and the program and libraries that read it, so it is
never out of date. Whatever is wrong with what was kept, the file is read anew.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import io
import pickle
import sys
import time
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from nesting.files.reading import LARGEST_FILE, Reading
from nesting.packing.kernel.kept import Shelf

__all__ = ["read_kept"]

#: bytes on disk; beyond it a quarter leaves
READINGS = Shelf("readings", 30_000_000)
#: seconds: what is read in less is not worth keeping
_WORTH = 0.05
#: bytes of the largest reading kept
_LARGEST = 5_000_000
_ROOM = Path(__file__).resolve().parents[1]
_LIBRARIES = ("ezdxf", "numpy", "opencv-python-headless", "pikepdf", "pypdfium2", "shapely")


def read_kept(
    path: Path,
    *,
    units: str | None,
    join_gap: float,
    pages: Sequence[int] | None = None,
    layers: Sequence[str] | None = None,
) -> Reading:
    """As ``read_pieces``, from disk where the same file was read before. Raises what that raises."""
    asked = repr((path.name, units, join_gap, pages, layers))
    key = _key(path, asked)
    kept = None if key is None else _reading_of(READINGS.load([key]).get(key))
    if kept is not None:
        return kept
    from nesting.files.patterns import read_pieces  # what is kept is had without the libraries that read drawings

    begun = time.perf_counter()
    reading = read_pieces(path, units=units, join_gap=join_gap, pages=pages, layers=layers)
    if key is not None and time.perf_counter() - begun > _WORTH:
        data = pickle.dumps(reading, protocol=pickle.HIGHEST_PROTOCOL)
        # changed while it was read, it is not what its name says
        if len(data) <= _LARGEST and key == _key(path, asked):
            READINGS.store({key: data})
    return reading


def _key(path: Path, asked: str) -> bytes | None:
    try:
        if not path.is_file() or path.stat().st_size > LARGEST_FILE:
            return None
        content = hashlib.sha256(path.read_bytes())
    except OSError:
        return None  # reading it will say what is wrong
    return hashlib.sha256(content.digest() + _readers() + asked.encode("utf-8", "surrogateescape")).digest()


@lru_cache(maxsize=1)
def _readers() -> bytes:
    """The program and libraries that read."""
    digest = hashlib.sha256(sys.version.encode())
    for name in _LIBRARIES:
        digest.update(f"{name} {importlib.metadata.version(name)}\0".encode())
    for room in ("files", "model", "outlines", "pieces"):
        for file in sorted((_ROOM / room).rglob("*.py")):
            digest.update(file.read_bytes())
    return digest.digest()


class _Nouns(pickle.Unpickler):
    """Takes nothing but our own nouns and arrays of numbers, whatever stands in the file."""

    def find_class(self, module: str, name: str) -> Any:
        own = module.startswith("nesting.model.") or module == Reading.__module__
        array = module.split(".")[0] == "numpy" and name in ("_reconstruct", "ndarray", "dtype", "scalar")
        if not (own or array):
            raise pickle.UnpicklingError(f"{module}.{name} is not part of a reading")
        return super().find_class(module, name)


def _reading_of(body: bytes | None) -> Reading | None:
    """The reading, None if there is none or the body is something else."""
    if body is None:
        return None
    try:
        found = _Nouns(io.BytesIO(body)).load()
    except Exception:  # whatever it is, the file itself is there
        return None
    return found if isinstance(found, Reading) else None
