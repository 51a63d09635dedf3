"""Where the page of an order was last: its port and key, so that a tab left open finds it when it is started again.

Kept in the user's cache folder for a day, readable by the user alone; never in the order's folder, which may be shared.
What cannot be read or written, or what others could have read, is as if it were not there: then both are new.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import stat
import time
from pathlib import Path

from nesting.packing.kernel import kept

__all__ = ["last_address", "remember_address"]

#: seconds for which they are good
_DAY = 24 * 3600.0


def _file(order: Path) -> Path | None:
    folder = kept.folder()
    if folder is None:
        return None
    return folder / f"page-{hashlib.sha256(str(order.resolve()).encode()).hexdigest()[:24]}.json"


def last_address(order: Path) -> tuple[int, str] | None:
    """Port and key of the page of ``order`` when it was started last; None where nobody knows them any more."""
    path = _file(order)
    if path is None:
        return None
    try:
        with path.open("rb") as file:
            about = os.fstat(file.fileno())
            if time.time() - about.st_mtime > _DAY:
                return None
            if os.name == "posix" and (stat.S_IMODE(about.st_mode) & 0o077 or about.st_uid != os.getuid()):
                return None
            known = json.loads(file.read(1000))
        port, key = known["port"], known["key"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    if type(port) is not int or not 0 < port < 65536 or not isinstance(key, str):
        return None
    return (port, key) if re.fullmatch(r"[\w-]{43,}", key, re.ASCII) else None


def remember_address(order: Path, port: int, key: str) -> None:
    """Keep both for the next start, if that can be done."""
    path = _file(order)
    if path is None:
        return
    fresh = path.with_name(f"{path.name}.{os.getpid()}")
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump({"port": port, "key": key}, file)
        fresh.replace(path)
