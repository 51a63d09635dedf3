"""Worker processes of our own: begun as the system allows, and over when the search is."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pytest

from nesting.packing.search import pool
from nesting.packing.search.pool import own_workers


def busy(begun: Path) -> bool:
    """Tell that it began, then be at it for long."""
    begun.touch()
    time.sleep(40.0)
    return True


def deaf() -> bool:
    """Whether Ctrl-C means nothing here."""
    return signal.getsignal(signal.SIGINT) is signal.SIG_IGN


@pytest.mark.parametrize("forks", [True, False])
def test_they_are_over_with_the_block(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, forks: bool) -> None:
    """By its end, or by an exception that does not wait for what they are at: then that is lost, not finished."""
    monkeypatch.setattr(pool, "forks", lambda: forks)
    before = set(multiprocessing.active_children())
    with own_workers(2) as executor:
        assert executor.submit(os.getpid).result() != os.getpid()
        assert executor.submit(deaf).result()
    assert set(multiprocessing.active_children()) <= before
    with pytest.raises(KeyboardInterrupt), own_workers(1) as executor:
        lost = executor.submit(busy, tmp_path / "begun")
        while not (tmp_path / "begun").exists():
            time.sleep(0.01)
        raise KeyboardInterrupt
    assert isinstance(lost.exception(), BrokenProcessPool)
    assert set(multiprocessing.active_children()) <= before


def test_the_systems_own_context_stays_as_it_is() -> None:
    """What the pool is given is its own: others start processes as before."""
    before = multiprocessing.get_context("fork").Process
    with own_workers(1) as executor:
        executor.submit(os.getpid).result()
    assert multiprocessing.get_context("fork").Process is before


def test_they_go_with_their_parent(tmp_path: Path) -> None:
    """However it ends: killed, it cannot end them."""
    script = (
        "import os, sys, time\n"
        "from nesting.packing.search.pool import own_workers\n"
        "with own_workers(2) as pool:\n"
        "    print(*{pool.submit(os.getpid).result() for _ in range(4)}, flush=True)\n"
        "    time.sleep(60.0)\n"
    )
    with subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout is not None
        workers = [int(number) for number in parent.stdout.readline().split()]
        parent.kill()
    assert workers
    until = time.monotonic() + 30.0
    while any(alive(number) for number in workers) and time.monotonic() < until:
        time.sleep(0.05)
    assert not any(alive(number) for number in workers)


def alive(number: int) -> bool:
    """Whether the process runs; one that has ended and waits to be reaped does not."""
    try:
        return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False
