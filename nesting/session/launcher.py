"""Where runs are forked from: a small process with the compiled search in memory, so that a run begins at once.

It has one thread, so that forking is safe, and belongs to one parent process. Over a socket it gets, for each run, the
run's connection and a *life* line. When the parent closes that line (or goes, however that happens, which closes all of
them) the run's whole group is ended; so it is when the run's own process has ended. Started by ``python -m
nesting.session.launcher FD``, so that the parent's main script is never imported again.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import socket
import sys
from multiprocessing.connection import Connection

__all__ = ["main"]

#: seconds between two looks at which runs have ended by themselves
_LOOK = 0.2


def main() -> None:
    """Serve until the parent has gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    control = socket.socket(fileno=int(sys.argv[1]))
    loaded = _load()
    runs: dict[int, int] = {}  # life line -> process
    while True:
        ready, _, _ = select.select([control.fileno(), *runs], [], [], _LOOK if runs else None)
        for life in [fd for fd in runs if fd in ready]:
            _end(runs.pop(life), life)
        for life, pid in list(runs.items()):
            if _ended(pid):
                del runs[life]
                _end(pid, life)
        if not loaded and not runs:
            loaded = _load()  # a run may have compiled it meanwhile
        if control.fileno() in ready:
            message, fds, _, _ = socket.recv_fds(control, 16, 2)
            if not message:
                for life, pid in runs.items():
                    _end(pid, life)
                os._exit(0)  # at once: taking down what is loaded would keep the parent waiting
            data, life = fds
            runs[life] = _begin(control, data, life, list(runs))
            os.close(data)


def _load() -> bool:
    """What is slow is done here, once. Compiling is left to a run, which tells of it: False until that is done."""
    from nesting.packing.search import search
    from nesting.packing.search.warm import compiled, warm_up
    from nesting.planning.layout import sections, solve
    from nesting.session import child

    if not (compiled() and child and solve and search and sections):
        return False
    warm_up()
    return True


def _begin(control: socket.socket, data: int, life: int, others: list[int]) -> int:
    pid = os.fork()
    if pid:
        with contextlib.suppress(OSError):
            os.setpgid(pid, pid)
        return pid
    code = 1
    try:
        with contextlib.suppress(OSError):
            os.setpgid(0, 0)
        control.close()
        for fd in (life, *others):
            os.close(fd)
        from nesting.session.child import run

        run(Connection(data))
        code = 0
    finally:
        os._exit(code)


def _ended(pid: int) -> bool:
    """Whether the run's own process is over; it is not reaped yet, so that its number stays its own."""
    with contextlib.suppress(ChildProcessError):
        return os.waitid(os.P_PID, pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None
    return True


def _end(pid: int, life: int) -> None:
    with contextlib.suppress(OSError):
        os.killpg(pid, signal.SIGKILL)
    with contextlib.suppress(OSError):
        os.waitpid(pid, 0)
    os.close(life)


if __name__ == "__main__":
    main()
