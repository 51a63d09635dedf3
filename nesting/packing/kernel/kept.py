"""Fields and parts of shapes kept on disk between runs: two small databases in the user's cache folder.

What is kept is named after the shapes themselves and after how fields are made, so it is never out of date. The
databases are SQLite files: writing is atomic, several programs may use them at once, and what was used (or, of parts,
made) longest ago leaves when one grows. Whatever is wrong with one, a run goes on without it; a file that is no
database is begun anew.

``NESTING_CACHE`` moves the folder, or switches this off (``off``). The folder is otherwise the platform's own for
caches (on Linux ``$XDG_CACHE_HOME`` or ``~/.cache``).
"""

from __future__ import annotations

import logging
import os
import sqlite3
import struct
import time
import zlib
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "FIELDS",
    "PARTS",
    "VARIABLE",
    "Entry",
    "Lists",
    "Shelf",
    "folder",
    "load",
    "load_lists",
    "store",
    "store_lists",
]

log = logging.getLogger(__name__)

VARIABLE = "NESTING_CACHE"
#: bytes of fields and of parts on disk; beyond it a quarter leaves
_LIMITS = (240_000_000, 30_000_000)
#: changes with what is kept, or how it is made
_VERSION = 2
_HEAD, _CHECK = struct.Struct("<4d3q"), struct.Struct("<I")
_MANY = 400

#: x0, y0, hx, hy of the grid; the grid (float32); the corners (m, 2)
Entry = tuple[float, float, float, float, NDArray[np.float32], NDArray[np.float64]]
#: lists of numbers
Lists = tuple[NDArray[np.float64], ...]


def folder() -> Path | None:
    """Where fields are kept; None if that is switched off."""
    own = os.environ.get(VARIABLE)
    if own is not None:
        return None if own.strip().lower() in ("", "off", "0", "no", "none") else Path(own).expanduser()
    from platformdirs import user_cache_path

    return user_cache_path("nesting", appauthor=False)


class Shelf:
    """One database of the cache: bodies by key, each behind its check sum, so that what is damaged is not there.
    ``limit``: bytes beyond which a quarter leaves."""

    def __init__(self, name: str, limit: int) -> None:
        self._name, self.limit = name, limit

    def load(self, keys: Iterable[bytes], *, note_use: bool = True) -> dict[bytes, bytes]:
        """Those of the bodies that are kept; nothing where there is no cache or it cannot be read. ``note_use``: they
        have been used now, so they stay longer."""
        wanted = list(keys)
        path = self._file()
        if path is None or not wanted or not path.exists():
            return {}
        found: dict[bytes, bytes | None] = {}
        try:
            with closing(_opened(path)) as base:
                for k in range(0, len(wanted), _MANY):
                    some = wanted[k : k + _MANY]
                    marks = ",".join("?" * len(some))
                    rows = base.execute(f"SELECT key, body FROM field WHERE key IN ({marks})", some)
                    found.update((bytes(key), _checked(body)) for key, body in rows)
                if found and note_use:
                    used = [(int(time.time()), k) for k in found]
                    base.executemany("UPDATE field SET used = ? WHERE key = ?", used)
                    base.commit()
        except (sqlite3.Error, OSError) as error:
            _trouble(path, error)
        return {key: body for key, body in found.items() if body is not None}

    def store(self, bodies: dict[bytes, bytes]) -> None:
        """Keep these, if that can be done."""
        path = self._file()
        if path is None or not bodies:
            return
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with closing(_opened(path)) as base:
                now = int(time.time())
                rows = [(key, _CHECK.pack(zlib.crc32(body)) + body, now) for key, body in bodies.items()]
                base.executemany("INSERT OR REPLACE INTO field (key, body, used) VALUES (?, ?, ?)", rows)
                held = base.execute("SELECT TOTAL(LENGTH(body)) FROM field").fetchone()[0] or 0
                if held > self.limit:
                    base.execute(
                        "DELETE FROM field WHERE key IN (SELECT key FROM field ORDER BY used, rowid LIMIT "
                        "(SELECT COUNT(*) / 4 + 1 FROM field))"
                    )
                base.commit()
        except (sqlite3.Error, OSError) as error:
            _trouble(path, error)

    def _file(self) -> Path | None:
        where = folder()
        return None if where is None else where / f"{self._name}-{_VERSION}.db"


def _checked(kept: bytes) -> bytes | None:
    """The body of what was kept, None if it is damaged."""
    sound = len(kept) >= _CHECK.size and zlib.crc32(kept[_CHECK.size :]) == _CHECK.unpack_from(kept)[0]
    return kept[_CHECK.size :] if sound else None


FIELDS = Shelf("fields", _LIMITS[0])
PARTS = Shelf("parts", _LIMITS[1])


def load(keys: Iterable[bytes]) -> dict[bytes, Entry]:
    """Those of the fields that are kept."""
    entries = {key: _unpacked(body) for key, body in FIELDS.load(keys).items()}
    return {key: entry for key, entry in entries.items() if entry is not None}


def store(entries: dict[bytes, Entry]) -> None:
    """Keep these fields, if that can be done."""
    FIELDS.store({key: _packed(entry) for key, entry in entries.items()})


def load_lists(keys: Iterable[bytes]) -> dict[bytes, Lists]:
    """Those of the lists of numbers that are kept; see ``store_lists``."""
    entries = {key: _lists_of(body) for key, body in PARTS.load(keys, note_use=False).items()}
    return {key: entry for key, entry in entries.items() if entry is not None}


def store_lists(entries: dict[bytes, Lists]) -> None:
    """Keep lists of numbers under names that say what they are and how they are made."""
    PARTS.store({key: _as_body(lists) for key, lists in entries.items()})


def _as_body(lists: Lists) -> bytes:
    data = b"".join(np.ascontiguousarray(one, dtype="<f8").tobytes() for one in lists)
    return struct.pack(f"<I{len(lists)}I", len(lists), *map(len, lists)) + data


def _lists_of(body: bytes) -> Lists | None:
    """The lists, None if the body is no such thing."""
    count = struct.unpack_from("<I", body)[0] if len(body) >= 4 else 0
    if len(body) < 4 + 4 * count:
        return None
    sizes = struct.unpack_from(f"<{count}I", body, 4)
    if len(body) != 4 + 4 * count + 8 * sum(sizes):
        return None
    numbers = np.frombuffer(body, dtype="<f8", offset=4 + 4 * count).astype(np.float64)
    return tuple(np.split(numbers, np.cumsum(sizes)[:-1])) if count else ()


def _opened(path: Path) -> sqlite3.Connection:
    new = not path.exists()
    base = sqlite3.connect(path, timeout=2.0)
    try:
        if new:
            base.execute("PRAGMA auto_vacuum = FULL")
        base.execute("PRAGMA synchronous = OFF")  # a cache: what is lost is made again, what is damaged is left aside
        base.execute("CREATE TABLE IF NOT EXISTS field (key BLOB PRIMARY KEY, body BLOB NOT NULL, used INTEGER)")
    except BaseException:
        base.close()
        raise
    return base


def _trouble(path: Path, error: Exception) -> None:
    log.debug("the fields kept in %s cannot be used: %s", path, error)
    if isinstance(error, sqlite3.DatabaseError) and not isinstance(error, sqlite3.OperationalError):
        path.unlink(missing_ok=True)


def _packed(entry: Entry) -> bytes:
    x0, y0, hx, hy, grid, corners = entry
    data = np.ascontiguousarray(grid, dtype="<f4").tobytes() + np.ascontiguousarray(corners, dtype="<f8").tobytes()
    return _HEAD.pack(x0, y0, hx, hy, *grid.shape, len(corners)) + data


def _unpacked(body: bytes) -> Entry | None:
    """The field, None if the body is no such thing."""
    if len(body) < _HEAD.size:
        return None
    x0, y0, hx, hy, nx, ny, count = _HEAD.unpack_from(body)
    if min(nx, ny, count) < 0 or len(body) != _HEAD.size + 4 * nx * ny + 16 * count:
        return None
    grid = np.frombuffer(body, dtype="<f4", count=nx * ny, offset=_HEAD.size).reshape(nx, ny).astype(np.float32)
    at = _HEAD.size + 4 * nx * ny
    corners = np.frombuffer(body, dtype="<f8", offset=at).reshape(count, 2).astype(np.float64)
    return x0, y0, hx, hy, grid, corners
