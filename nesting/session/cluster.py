"""Workers on other machines: a Dask scheduler that runs already, as an executor.

What is sent carries everything that its work needs, so any worker can do it, and one that is lost costs only what it
was at: the scheduler gives that to another. As results depend on the libraries to the last bit, a worker with other
versions than ours is refused, whether it is there from the beginning or comes later.
"""

from __future__ import annotations

import atexit
import contextlib
import hashlib
import importlib
import importlib.metadata
import platform
import threading
import time
from collections.abc import Callable
from concurrent.futures import Executor, Future, InvalidStateError
from functools import lru_cache
from pathlib import Path
from typing import Any

from nesting.model.errors import InputError

__all__ = ["Cluster", "ClusterLost", "versions"]

#: seconds to wait for the scheduler, for a first worker, and without any worker until the work is given up
_ANSWER, _FIRST, _NONE_LEFT = 10.0, 5.0, 20.0
#: seconds for workers to compile the search, where it is not yet
_COMPILING = 180.0
#: seconds between two looks at whether there are workers
_LOOK = 1.0
#: what a layout depends on, beside the program itself
_LIBRARIES = ("numpy", "numba", "scipy", "shapely", "highspy")


class ClusterLost(InputError):
    """The scheduler, or its last worker, was lost on the way."""

    default_code = "cluster.lost"


@lru_cache(maxsize=1)
def versions() -> dict[str, str]:
    """What results depend on, by name: the program's own source (its digest), Python, the libraries."""
    home = Path(__file__).resolve().parents[1]
    digest = hashlib.sha256()
    for path in sorted(home.rglob("*.py")):
        digest.update(str(path.relative_to(home)).encode() + b"\0" + path.read_bytes())
    return {
        "nesting": digest.hexdigest()[:12],
        "Python": platform.python_version(),
        **{name: importlib.metadata.version(name) for name in _LIBRARIES},
    }


def _differing(address: str, theirs: dict[str, str]) -> InputError | None:
    """The refusal of a worker whose versions are not ours."""
    ours = versions()
    other = [name for name in ours if theirs.get(name) != ours[name]]
    if not other:
        return None
    listed = "; ".join(f"{name} {theirs.get(name, 'missing')} there, {ours[name]} here" for name in other)
    return InputError(
        f"cluster: the worker at {address} has other versions ({listed}), so it could find another lay than this "
        "machine: install the same on both and start the worker again",
        code="cluster.versions",
        figures={"worker": address, "differing": tuple(other)},
    )


def _told() -> dict[str, str]:
    """On a worker: its versions."""
    return versions()


def _warmed() -> None:
    """On a worker: compile the search, or load it."""
    from nesting.packing.search.warm import warm_up

    warm_up()


def _done(asked: dict[str, str], fn: Callable[..., Any], args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any:
    """On a worker: the work, if the worker has the versions that it was sent with."""
    if asked != versions():
        raise _Other(versions())
    return fn(*args, **kwargs)


class _Other(Exception):
    """A worker's versions, which are not those asked for."""


class Cluster(Executor):
    """The workers of the scheduler at ``address`` ("tcp://host:port", or "host:port").

    ``workers``: how many there were at the beginning. InputError where there is no Dask, no scheduler, no worker, or
    one of other versions; ClusterLost comes out of futures when the scheduler, or the last worker, is lost for good.
    """

    def __init__(self, address: str) -> None:
        try:
            dask: Any = importlib.import_module("distributed")
        except ImportError:
            raise InputError(
                "a cluster needs Dask, which is not installed: pip install 'nesting[cluster]'", code="cluster.no-dask"
            ) from None
        try:
            self._client: Any = dask.Client(address, timeout=_ANSWER, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            raise InputError(
                f"cluster: no Dask scheduler answers at '{address}' ({type(error).__name__}): start one by "
                "'dask scheduler' and give the address that it prints, such as tcp://192.168.1.10:8786",
                code="cluster.unreachable",
                figures={"address": address},
            ) from None
        self._address = address
        self._lock = threading.Lock()
        self._waiting: dict[Future[Any], Any] = {}
        self._closed = threading.Event()
        try:
            self.workers = self._first_workers()
        except BaseException:
            self._client.close()
            raise
        atexit.register(self.close)  # before Dask's own threads are ended, which would wait for it
        threading.Thread(target=self._watch, name="nesting cluster", daemon=True).start()

    def _first_workers(self) -> int:
        """Wait for workers, judge their versions, have the search compiled there; how many there are."""
        until = time.monotonic() + _FIRST
        while not (there := self._client.nthreads()) and time.monotonic() < until:
            time.sleep(0.1)
        if not there:
            raise InputError(
                f"cluster: the scheduler at '{self._address}' has no workers: start some by "
                f"'dask worker {self._address}', on as many machines as you like",
                code="cluster.no-workers",
                figures={"address": self._address},
            )
        for address, theirs in self._client.run(_told, on_error="return").items():
            if isinstance(theirs, BaseException):
                raise InputError(
                    f"cluster: the worker at {address} cannot begin ({type(theirs).__name__}: {theirs}): install "
                    "this program there as well and start the worker again",
                    code="cluster.no-program",
                    figures={"worker": address},
                )
            refusal = _differing(address, theirs)
            if refusal is not None:
                raise refusal
        warming = [self._client.submit(_warmed, workers=[address], pure=False) for address in there]
        until = time.monotonic() + _COMPILING
        for one in warming:
            with contextlib.suppress(Exception):  # the work itself tells what cannot be done there
                one.result(timeout=max(0.1, until - time.monotonic()))
        return len(there)

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """As for any executor."""
        outer: Future[Any] = Future()
        inner = self._client.submit(_done, versions(), fn, args, kwargs, pure=False)
        with self._lock:
            self._waiting[outer] = inner
        outer.add_done_callback(lambda done: inner.cancel() if done.cancelled() else None)
        inner.add_done_callback(lambda inner: self._settle(outer, inner))
        return outer

    def _settle(self, outer: Future[Any], inner: Any) -> None:
        """Hand on how the scheduler's future has ended."""
        with self._lock:
            self._waiting.pop(outer, None)
        with contextlib.suppress(InvalidStateError):
            if inner.status == "finished":
                outer.set_result(inner.result())
                return
            error = inner.exception() if inner.status == "error" else None
            if isinstance(error, _Other):
                error = _differing("a worker that came later", error.args[0])
            elif error is None or type(error).__name__ == "KilledWorker":
                error = self._lost()
            outer.set_exception(error or self._lost())

    def _lost(self) -> ClusterLost:
        return ClusterLost(
            f"cluster: the scheduler at '{self._address}', or the last of its workers, was lost on the way: see that "
            "they run, and begin anew",
            figures={"address": self._address},
        )

    def _watch(self) -> None:
        """While work waits there must be workers; without any for long it fails."""
        seen = time.monotonic()
        while not self._closed.wait(_LOOK):
            try:
                there = self._client.status == "running" and bool(self._client.nthreads())
            except Exception:
                there = False
            if there:
                seen = time.monotonic()
            elif time.monotonic() - seen > _NONE_LEFT:
                with self._lock:
                    waiting, self._waiting = list(self._waiting), {}
                for outer in waiting:
                    with contextlib.suppress(InvalidStateError):
                        outer.set_exception(self._lost())

    def close(self) -> None:
        """Let go of the scheduler; harmless when that is done already."""
        self._closed.set()
        atexit.unregister(self.close)
        with contextlib.suppress(Exception):
            self._client.close(timeout=2.0)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """As for any executor: nothing of the scheduler is ended."""
        self.close()
