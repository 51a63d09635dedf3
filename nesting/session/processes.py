"""Processes for runs: from the launcher where forking is safe, else fresh ones."""

from __future__ import annotations

import atexit
import contextlib
import os
import secrets
import socket
import subprocess
import sys
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection, Listener
from pathlib import Path
from typing import Any

__all__ = ["Process", "begin", "forks_runs", "ready", "warmed"]

#: where no launcher is used: there is no fork (Windows), or it is unsafe beside the system's libraries (macOS)
_FRESH = sys.platform in ("win32", "darwin") or bool(os.environ.get("NESTING_FRESH"))

_lock = threading.Lock()
_launcher: socket.socket | None = None
_process: subprocess.Popen[bytes] | None = None


class Process:
    """One run's process as the parent sees it: its connection, and how to end it."""

    def __init__(self, connection: Any, life: socket.socket | None, process: subprocess.Popen[bytes] | None) -> None:
        self.connection = connection
        self._life, self._process = life, process

    def end(self) -> None:
        """End it and its workers at once; harmless when it is over."""
        if self._life is not None:
            self._life.close()
        elif self._process is not None:
            # its thread ends the group when the connection is shut; killing it by itself would leave the workers
            with contextlib.suppress(OSError):
                if sys.platform == "win32":
                    self.connection.close()
                else:
                    with socket.socket(fileno=os.dup(self.connection.fileno())) as line:
                        line.shutdown(socket.SHUT_RDWR)
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(2.0)
            self._process.kill()
            self._process.wait()


def _environment() -> dict[str, str]:
    """The environment, with this very package to be found first."""
    home = str(Path(__file__).resolve().parents[2])
    before = os.environ.get("PYTHONPATH")
    return {**os.environ, "PYTHONPATH": home if not before else os.pathsep.join((home, before))}


def _start(module: str, where: str, **how: Any) -> subprocess.Popen[bytes]:
    null = subprocess.DEVNULL
    return subprocess.Popen(
        [sys.executable, "-m", module, where], stdin=null, stdout=null, stderr=null, **{"env": _environment(), **how}
    )


def forks_runs() -> bool:
    """Whether runs are forked from a launcher, so that one more costs next to nothing."""
    return not _FRESH


def ready() -> None:
    """Start the launcher, so that it loads the search while the caller does something else."""
    global _launcher, _process
    if _FRESH:
        return
    with _lock:
        if _launcher is None:
            mine, theirs = socket.socketpair()
            _process = _start(
                "nesting.session.launcher", str(theirs.fileno()), pass_fds=(theirs.fileno(),), start_new_session=True
            )
            theirs.close()
            _launcher = mine


def _forget() -> None:
    """Let go of the launcher's line, without waiting: in a process that was forked it is the child of another."""
    global _launcher
    if _launcher is not None:
        _launcher.close()
        _launcher = None


def _end_launcher() -> None:
    """The launcher ends when its line is closed, and its runs with it."""
    _forget()
    if _process is not None:
        with contextlib.suppress(subprocess.TimeoutExpired):
            _process.wait(1.0)
            return
        _process.kill()
        _process.wait()


atexit.register(_end_launcher)
if hasattr(os, "register_at_fork"):
    # a process forked from this one must not hold the launcher after this one has gone
    os.register_at_fork(after_in_child=_forget)


def begin() -> Process:
    """A process that waits for its work."""
    if sys.platform == "win32":
        return _begin_by_address()
    mine, theirs = socket.socketpair()
    connection = Connection(mine.detach())
    if _FRESH:
        fd = theirs.fileno()
        process = _start("nesting.session.child", str(fd), pass_fds=(fd,), start_new_session=True)
        theirs.close()
        return Process(connection, None, process)
    life, held = socket.socketpair()
    for attempt in (1, 2):
        ready()
        assert _launcher is not None
        try:
            with _lock:
                socket.send_fds(_launcher, [b"run"], [theirs.fileno(), held.fileno()])
            break
        except OSError:
            _end_launcher()  # it was ended by somebody: once more with another
            if attempt == 2:
                raise
    theirs.close()
    held.close()
    return Process(connection, life, None)


def warmed(note: Callable[[str], None]) -> None:
    """Have the search compiled where it is not yet, by a run of its own; ``note`` hears what takes long. Returns when
    that is done. RuntimeError where it could not be."""
    from nesting.session.events import Reading, Refused

    process = begin()
    try:
        process.connection.send(None)
        while isinstance(message := process.connection.recv(), Reading):
            note(message.note)
        if isinstance(message, Refused):
            raise message.error
    except (EOFError, OSError):
        raise RuntimeError("the search could not be made ready") from None
    finally:
        process.end()
        process.connection.close()


def _begin_by_address() -> Process:
    key = secrets.token_bytes(16)
    with Listener(authkey=key) as listener:
        process = _start(
            "nesting.session.child", str(listener.address), env={**_environment(), "NESTING_KEY": key.hex()}
        )
        return Process(listener.accept(), None, process)
