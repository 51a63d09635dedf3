"""Fields kept on disk: the same as those that are made, whatever becomes of the file."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from nesting.packing.kernel import convex, fieldstore, kept
from nesting.packing.kernel.fieldstore import pair_field, profile
from nesting.packing.search import outlines

SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
CORNER = np.array([[-2.0, -2.0], [2.0, -2.0], [2.0, 0.0], [0.0, 0.0], [0.0, 2.0], [-2.0, 2.0]])


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(kept.VARIABLE, str(tmp_path))


def _made() -> fieldstore.PairField:
    """As a new process would have it: nothing in memory."""
    fieldstore._STORE = fieldstore._Store()
    return pair_field(profile(SQUARE, 1.0), profile(CORNER, 1.0), 1.0, 24)


def _counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    calls: list[int] = []
    make = fieldstore._make

    def counting(*args: object) -> fieldstore.PairField:
        calls.append(1)
        return make(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(fieldstore, "_make", counting)
    return calls


def _same(one: fieldstore.PairField, two: fieldstore.PairField) -> None:
    assert one[:4] == two[:4]
    assert np.array_equal(one.grid, two.grid)
    assert np.array_equal(one.corners, two.corners)


def test_a_second_run_reads_what_the_first_one_made(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A second run reads what the first one made."""
    calls = _counted(monkeypatch)
    first = _made()
    assert len(calls) == 1 and list(tmp_path.glob("*.db"))
    _same(first, _made())
    assert len(calls) == 1


def test_switched_off_nothing_is_written(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Switched off nothing is written."""
    monkeypatch.setenv(kept.VARIABLE, "off")
    calls = _counted(monkeypatch)
    _same(_made(), _made())
    assert len(calls) == 2 and not list(tmp_path.iterdir())


@pytest.mark.parametrize("damage", [b"", b"this is no database" * 100, None])
def test_a_damaged_file_is_left_aside(damage: bytes | None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A damaged file is left aside."""
    first = _made()
    (file,) = tmp_path.glob("*.db")
    if damage is None:
        data = bytearray(file.read_bytes())
        middle = len(data) // 2
        data[middle : middle + 2000] = bytes(2000)
        file.write_bytes(bytes(data))
    else:
        file.write_bytes(damage)
    _same(first, _made())
    _same(first, _made())


def test_what_was_changed_on_disk_is_not_believed(tmp_path: Path) -> None:
    """One bit of a body is enough; so is a body that is too short."""
    entry = (0.0, 0.0, 1.0, 1.0, np.ones((9, 9), dtype=np.float32), np.zeros((4, 2)))
    kept.store({b"field": entry})
    (file,) = tmp_path.glob("*.db")
    assert list(kept.load([b"field"])) == [b"field"]
    for spoil in (lambda body: body[:-1] + bytes([body[-1] ^ 1]), lambda body: body[:-3], lambda body: b""):
        kept.store({b"field": entry})
        with closing(sqlite3.connect(file)) as base:
            (body,) = base.execute("SELECT body FROM field").fetchone()
            base.execute("UPDATE field SET body = ?", (spoil(body),))
            base.commit()
        assert not kept.load([b"field"])
    assert kept._unpacked(kept._packed(entry)[:-3]) is None


def test_the_oldest_leave(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The oldest leave."""
    monkeypatch.setattr(kept.FIELDS, "limit", 50_000)
    now = iter(range(1, 1000))
    monkeypatch.setattr(kept.time, "time", lambda: next(now))
    for k in range(40):
        grid = np.full((30, 30), k, dtype=np.float32)
        kept.store({bytes([k]) * 20: (0.0, 0.0, 1.0, 1.0, grid, np.zeros((2, 2)))})
    left = kept.load(bytes([k]) * 20 for k in range(40))
    assert bytes([39]) * 20 in left and bytes([0]) * 20 not in left
    assert sum(e[4].nbytes for e in left.values()) <= 50_000


def test_a_folder_that_cannot_be_written_to_does_no_harm(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A folder that cannot be written to does no harm."""
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv(kept.VARIABLE, str(tmp_path / "file" / "cache"))
    _same(_made(), _made())


def test_the_folder_is_the_platforms_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The folder is the platforms own."""
    monkeypatch.delenv(kept.VARIABLE)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    found = kept.folder()
    assert found is not None and found.name == "nesting"
    import sys

    if sys.platform.startswith("linux"):
        assert found == tmp_path / "nesting"


def test_lists_come_back_and_other_bodies_do_not(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Lists of numbers come back as they were, none among them; a body that is no list is left aside."""
    monkeypatch.setenv(kept.VARIABLE, str(tmp_path))
    lists = (np.array([1.5]), np.arange(6.0), np.array([]))
    kept.store_lists({b"a": lists, b"none": ()})
    found = kept.load_lists([b"a", b"none", b"missing"])
    assert set(found) == {b"a", b"none"} and found[b"none"] == ()
    assert [one.tolist() for one in found[b"a"]] == [one.tolist() for one in lists]
    body = kept.PARTS.load([b"a"])[b"a"]
    kept.PARTS.store({b"a": body[:-1], b"short": b"xy"})
    assert kept.load_lists([b"a", b"short"]) == {}


def test_shapes_are_divided_alike_from_the_disk(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Convex parts and those of the exact finish are the same numbers whether they come from the disk or are made."""
    angles = np.linspace(0.0, 2.0 * np.pi, 60, endpoint=False)
    ring = np.stack([np.cos(angles) * (3.0 + np.sin(5 * angles)), np.sin(angles) * (3.0 + np.cos(3 * angles))], axis=1)
    found = []
    for folder in ("off", str(tmp_path), str(tmp_path)):
        monkeypatch.setenv(kept.VARIABLE, folder)
        convex._parts.cache_clear()
        convex._corners.cache_clear()
        outlines._known.clear()
        parts = convex.parts_of(ring - (ring.max(axis=0) + ring.min(axis=0)) / 2, 1.0)
        convex.keep_new()
        along, cut = outlines.parts_along(ring)
        found.append(([p.tolist() for p in parts], [p.tolist() for p in along], cut))
    assert found[0] == found[1] == found[2]
    assert len(found[0][0]) > 1 and len(found[0][1]) > 1
