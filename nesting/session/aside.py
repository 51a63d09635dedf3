"""A process beside this one in which functions are called while this one does something else, such as drawing."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from nesting.session import processes

__all__ = ["Aside", "Calls", "Failed"]

T = TypeVar("T")


@dataclass(frozen=True)
class Calls:
    """The work of such a process: to import ``modules`` at once, then to call what it is sent, until nobody asks."""

    modules: tuple[str, ...]


@dataclass(frozen=True)
class Failed:
    """What a call raised there."""

    error: BaseException


class Aside:
    """A process of its own, forked from the launcher, which has ``modules`` loaded when something is asked of it.

    Whatever happens to it, the work is done: what it does not answer is done here. It ends with this process, or by
    ``end``. Where there is no launcher everything is done here.
    """

    def __init__(self, modules: Sequence[str] = ()) -> None:
        self._process: processes.Process | None = None
        if processes.forks_runs():
            with contextlib.suppress(OSError):
                self._process = processes.begin()
                self._process.connection.send(Calls(tuple(modules)))

    def ask(self, function: Callable[..., T], *arguments: Any) -> Callable[[], T]:
        """Begin a call of a module's function. What is returned waits for its result, and raises what it raised; it is
        to be called once, before anything else is asked."""
        process = self._process
        if process is not None:
            try:
                process.connection.send((function, arguments))
            except OSError:
                process = None

        def result() -> T:
            if process is not None:
                try:
                    answer = process.connection.recv()
                except (EOFError, OSError):
                    self.end()
                else:
                    if isinstance(answer, Failed):
                        raise answer.error
                    found: T = answer
                    return found
            return function(*arguments)

        return result

    def end(self) -> None:
        """End it at once; harmless when it is over."""
        process, self._process = self._process, None
        if process is not None:
            process.end()
            process.connection.close()

    def __enter__(self) -> Aside:
        """Itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """End it."""
        self.end()
