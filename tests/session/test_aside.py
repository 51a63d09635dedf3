"""Functions called in a process beside this one."""

from __future__ import annotations

import math
import os
import time

import pytest

from nesting.session import processes
from nesting.session.aside import Aside


def refuses(value: int) -> int:
    """Raise, with a message."""
    raise ValueError(f"not {value}")


def test_what_is_asked_is_answered_by_another_process() -> None:
    """One thing after the other; what a call raises is raised here."""
    with Aside(("math",)) as aside:
        assert aside.ask(math.hypot, 3.0, 4.0)() == 5.0
        assert aside.ask(os.getpid)() != os.getpid()
        with pytest.raises(ValueError, match="not 3"):
            aside.ask(refuses, 3)()
        assert aside.ask(math.hypot, 5.0, 12.0)() == 13.0


def test_what_it_does_not_answer_is_done_here() -> None:
    """Ended before it was asked, and ended by a signal while it works."""
    aside = Aside()
    aside.end()
    assert aside.ask(os.getpid)() == os.getpid()
    with Aside() as aside:
        (gone,) = {aside.ask(os.getpid)()}
        waiting = aside.ask(_pid_after, os.getpid(), 60.0)
        os.kill(gone, 9)
        assert waiting() == os.getpid()


def _pid_after(parent: int, seconds: float) -> int:
    """This process's number, after a while in any process but the parent."""
    if os.getpid() != parent:
        time.sleep(seconds)
    return os.getpid()


def test_without_a_launcher_it_is_done_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on systems that do not fork."""
    monkeypatch.setattr(processes, "_FRESH", True)
    with Aside() as aside:
        assert aside.ask(os.getpid)() == os.getpid()


def test_its_process_goes_when_it_is_ended() -> None:
    """The process is gone soon after."""
    with Aside() as aside:
        number = aside.ask(os.getpid)()
    until = time.monotonic() + 30.0
    while time.monotonic() < until:
        try:
            os.kill(number, 0)
        except ProcessLookupError:
            return
        time.sleep(0.02)
    pytest.fail("it is still there")
