"""Fields kept on disk between runs: one small database in the user's cache folder.

What is kept is named after the shapes themselves and after how fields are made, so it is never out of date. The
database is an SQLite file: writing is atomic, several programs may use it at once, and the fields used longest ago
leave when it grows. Whatever is wrong with it, a run goes on without it; a file that is no database is begun anew.

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

__all__ = ["VARIABLE", "Entry", "folder", "load", "store"]

log = logging.getLogger(__name__)

VARIABLE = "NESTING_CACHE"
#: bytes of fields on disk; beyond it a quarter leaves
LIMIT = 300_000_000
#: changes with what is kept, or how it is made
_VERSION = 1
_HEAD = struct.Struct("<4d3qI")
_MANY = 400

#: x0, y0, hx, hy of the grid; the grid (float32); the corners (m, 2)
Entry = tuple[float, float, float, float, NDArray[np.float32], NDArray[np.float64]]


def folder() -> Path | None:
    """Where fields are kept; None if that is switched off."""
    own = os.environ.get(VARIABLE)
    if own is not None:
        return None if own.strip().lower() in ("", "off", "0", "no", "none") else Path(own).expanduser()
    from platformdirs import user_cache_path

    return user_cache_path("nesting", appauthor=False)


def load(keys: Iterable[bytes]) -> dict[bytes, Entry]:
    """Those of the fields that are kept; nothing where there is no cache or it cannot be read."""
    wanted = list(keys)
    path = _file()
    if path is None or not wanted or not path.exists():
        return {}
    found: dict[bytes, Entry] = {}
    try:
        with closing(_opened(path)) as base:
            for k in range(0, len(wanted), _MANY):
                some = wanted[k : k + _MANY]
                marks = ",".join("?" * len(some))
                for key, body in base.execute(f"SELECT key, body FROM field WHERE key IN ({marks})", some):
                    entry = _unpacked(body)
                    if entry is not None:
                        found[bytes(key)] = entry
            if found:
                base.executemany("UPDATE field SET used = ? WHERE key = ?", [(int(time.time()), k) for k in found])
                base.commit()
    except (sqlite3.Error, OSError) as error:
        _trouble(path, error)
    return found


def store(entries: dict[bytes, Entry]) -> None:
    """Keep these fields, if that can be done."""
    path = _file()
    if path is None or not entries:
        return
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with closing(_opened(path)) as base:
            now = int(time.time())
            rows = [(key, _packed(entry), now) for key, entry in entries.items()]
            base.executemany("INSERT OR REPLACE INTO field (key, body, used) VALUES (?, ?, ?)", rows)
            held = base.execute("SELECT TOTAL(LENGTH(body)) FROM field").fetchone()[0] or 0
            if held > LIMIT:
                base.execute(
                    "DELETE FROM field WHERE key IN (SELECT key FROM field ORDER BY used, rowid LIMIT "
                    "(SELECT COUNT(*) / 4 + 1 FROM field))"
                )
            base.commit()
    except (sqlite3.Error, OSError) as error:
        _trouble(path, error)


def _file() -> Path | None:
    where = folder()
    return None if where is None else where / f"fields-{_VERSION}.db"


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
    return _HEAD.pack(x0, y0, hx, hy, *grid.shape, len(corners), zlib.crc32(data)) + data


def _unpacked(body: bytes) -> Entry | None:
    """The field, None if what was kept is damaged."""
    if len(body) < _HEAD.size:
        return None
    x0, y0, hx, hy, nx, ny, count, check = _HEAD.unpack_from(body)
    data = body[_HEAD.size :]
    if min(nx, ny, count) < 0 or len(data) != 4 * nx * ny + 16 * count or zlib.crc32(data) != check:
        return None
    grid = np.frombuffer(data, dtype="<f4", count=nx * ny).reshape(nx, ny).astype(np.float32)
    corners = np.frombuffer(data, dtype="<f8", offset=4 * nx * ny).reshape(count, 2).astype(np.float64)
    return x0, y0, hx, hy, grid, corners
