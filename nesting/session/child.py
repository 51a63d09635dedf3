"""A run of a session in a process of its own: one connection brings the work and takes the events back.

The process leads its own group. ``python -m nesting.session.child FD`` is the way where there is no launcher: then a
thread ends the group as soon as the parent's end of the connection is closed.
"""

from __future__ import annotations

import compileall
import contextlib
import os
import pickle
import signal
import sys
import threading
from dataclasses import replace
from multiprocessing.connection import Client, Connection
from pathlib import Path
from typing import Any

from nesting.model.errors import InternalError
from nesting.session.events import Event, Reading, Result, refused
from nesting.session.working import do

__all__ = ["run"]


def run(connection: Any) -> None:
    """Receive (order, cutting list, options, work), do it and send events; last of all the Result or Refused. None in
    their place: only get ready, compiling what is not compiled yet."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent alone decides when to stop

    def tell(event: Event) -> None:
        connection.send(event)

    try:
        asked = connection.recv()
        from nesting.packing.search.warm import warm_up

        tell(Reading("reading"))
        fresh = warm_up(lambda note: tell(Reading(note, compiling=True)))
        if fresh:
            _keep_bytecode(Path(__file__).resolve().parents[1])
        if asked is None:
            connection.send(Result())
            return
        order, listed, options, work = asked
        if fresh:  # compiling takes nothing of the time
            options = replace(options, begun=None)
        try:
            connection.send(do(order, listed, options, work, tell))
        except (EOFError, BrokenPipeError, ConnectionResetError):
            raise
        except BaseException as error:
            tell(refused(_portable(error), 0.0))
    except (EOFError, OSError):
        pass  # nobody listens any more
    finally:
        with contextlib.suppress(OSError):
            connection.close()


def _keep_bytecode(room: Path) -> None:
    """Compile the modules, once as the search is. Where Python is told not to keep what it compiles
    (PYTHONDONTWRITEBYTECODE), every command would compile them all again, twice, which takes more than a second; it is
    kept where numba keeps the search, beside them, or not at all where that cannot be written to."""
    if sys.dont_write_bytecode:
        with contextlib.suppress(OSError):
            compileall.compile_dir(str(room), quiet=2)


def _portable(error: BaseException) -> BaseException:
    """The error, if it survives the way through the connection."""
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return InternalError(f"{type(error).__name__}: {error}", code="program.fault")
    return error


class _Watched:
    """The connection, read by a thread of its own after the work has come: when it is closed, the group ends."""

    def __init__(self, connection: Any) -> None:
        self._connection = connection

    def recv(self) -> Any:
        """The work; from then on the thread waits for the end."""
        work = self._connection.recv()
        threading.Thread(target=self._end_with_parent, daemon=True).start()
        return work

    def send(self, what: Any) -> None:
        """Send to the parent."""
        self._connection.send(what)

    def close(self) -> None:
        """Close it."""
        self._connection.close()

    def _end_with_parent(self) -> None:
        with contextlib.suppress(EOFError, OSError):
            self._connection.recv()
        if sys.platform != "win32":
            with contextlib.suppress(OSError):
                os.killpg(os.getpgrp(), signal.SIGKILL)
        os._exit(1)


def main() -> None:
    """The way without a launcher: a descriptor, or an address whose key comes by the environment."""
    where = sys.argv[1]
    connection = (
        Connection(int(where))
        if where.isdigit()
        else Client(where, authkey=bytes.fromhex(os.environ.pop("NESTING_KEY")))
    )
    run(_Watched(connection))


if __name__ == "__main__":
    main()
