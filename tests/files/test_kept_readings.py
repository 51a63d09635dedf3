"""Readings kept on disk: the same as read anew, and never those of another file, another question or damaged ones."""

from __future__ import annotations

import os
import pickle
import struct
import zlib
from pathlib import Path
from typing import Any

import pytest

from nesting.files import kept_readings, patterns
from nesting.files.kept_readings import READINGS, read_kept
from nesting.files.orders.order import load_order
from nesting.files.reading import Reading
from nesting.model.errors import PatternError

DEMO = Path(__file__).parents[2] / "fixtures" / "demo"


@pytest.fixture
def kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[str]:
    """A cache of its own, in which everything is kept, and the names of the files that were read."""
    monkeypatch.setenv("NESTING_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(kept_readings, "_WORTH", 0.0)
    read: list[str] = []
    reader = patterns.read_pieces

    def noted(path: Path, **how: Any) -> Reading:
        read.append(path.name)
        return reader(path, **how)

    monkeypatch.setattr(patterns, "read_pieces", noted)
    return read


def asked(path: Path, units: str | None = None, join_gap: float = 0.5) -> Reading:
    """The file, as orders ask for it."""
    return read_kept(path, units=units, join_gap=join_gap)


@pytest.mark.parametrize("name", ["shorts-m.svg", "briefs.dxf"])
def test_a_file_is_read_once(kept: list[str], name: str) -> None:
    """The second time it comes from disk, equal in every piece, mark and finding."""
    first = asked(DEMO / name)
    assert kept == [name]
    assert asked(DEMO / name) == first and kept == [name]


def test_the_demo_is_the_same_from_disk(kept: list[str]) -> None:
    """The whole order."""
    first = load_order(DEMO / "chorus.toml")
    assert len(kept) == 4
    again = load_order(DEMO / "chorus.toml")
    assert len(kept) == 4 and again.pieces == first.pieces and again.findings == first.findings


def test_what_differs_is_read_anew(kept: list[str], tmp_path: Path) -> None:
    """Another content, unit, join or name; the content of a file of the same name and date."""
    file = tmp_path / "shorts.svg"
    file.write_bytes((DEMO / "shorts-m.svg").read_bytes())
    date = file.stat()
    asked(file)
    for how in ({"units": "in"}, {"join_gap": 0.7}):
        asked(file, **how)  # type: ignore[arg-type]
    file.write_bytes((DEMO / "shorts-s.svg").read_bytes())
    os.utime(file, ns=(date.st_atime_ns, date.st_mtime_ns))
    small = asked(file)
    assert len(kept) == 4
    assert {p.outline for p in small.pieces} == {p.outline for p in patterns.read_pieces(DEMO / "shorts-s.svg").pieces}


def test_a_refusal_is_not_kept(kept: list[str], tmp_path: Path) -> None:
    """It is made anew each time, as the file may be there by then."""
    file = tmp_path / "none.svg"
    for _ in range(2):
        with pytest.raises(PatternError, match="no such file"):
            asked(file)
    file.write_text("<svg")
    with pytest.raises(PatternError):
        asked(file)
    assert len(kept) == 3


class Trap:
    """Would run something on being unpickled."""

    def __reduce__(self) -> Any:
        return (os.system, ("touch /tmp/should-not-be-there",))


@pytest.mark.parametrize(
    "spoil",
    [
        lambda body: body[:-1],
        lambda body: body[:100] + bytes([body[100] ^ 1]) + body[101:],
        lambda body: b"",
        lambda body: with_sum(pickle.dumps(Trap())),
        lambda body: with_sum(pickle.dumps({"pieces": 3})),
    ],
)
def test_damage_and_strangers_are_left_aside(kept: list[str], spoil: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file is read anew; nothing that stands in the cache is run."""
    ran: list[str] = []
    monkeypatch.setattr(os, "system", ran.append)
    first = asked(DEMO / "shorts-m.svg")
    key = kept_readings._key(DEMO / "shorts-m.svg", repr(("shorts-m.svg", None, 0.5, None, None)))
    assert key is not None
    READINGS.store({key: spoil(READINGS.load([key])[key])})
    assert asked(DEMO / "shorts-m.svg") == first and len(kept) == 2 and not ran


def with_sum(data: bytes) -> bytes:
    """With the check sum that it is kept with."""
    return struct.pack("<I", zlib.crc32(data)) + data
