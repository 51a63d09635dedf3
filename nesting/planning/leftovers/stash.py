"""The stash: one TOML file that remembers leftovers from lay to lay.

::

    schema = "stash/1"
    units = "mm"

    [[remnant]]
    name = "navy-1"
    cloth = "navy jersey"
    width = 600                    # across the grain; or outline = [[x, y], …], x along the grain
    length = 450                   # along the grain
    flaws = [[[x, y], …]]
    note = "from the chorus shorts"

Bare numbers are in ``units``; a length may carry its own ("60 cm"). The program writes mm.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from nesting.files.outputs import write_outputs
from nesting.model.errors import OrderError, UnitsError
from nesting.model.lay import Lay
from nesting.model.order import Order, Remnant
from nesting.model.piece import Point, Ring
from nesting.model.units import UNITS, parse_length

__all__ = ["Stash", "Stashed", "add", "already_there", "read_stash", "remove", "used_by", "with_stash", "write_stash"]

SCHEMA = "stash/1"
_KEYS = ("name", "cloth", "width", "length", "outline", "flaws", "note", "error", "picture")
#: Decimals of a millimetre in the file: a thousandth is far below what can be cut.
_DECIMALS = 3
#: mm². Two leftovers of which less than this is in only one of them are the same: more than rounding in the file makes.
_SAME_MM2 = 50.0


@dataclass(frozen=True)
class Stashed:
    """One leftover in the stash, with whatever the user noted about it. ``error`` mm: by which its outline was
    made smaller, as it was photographed; ``picture``: the file of its picture, as seen from the stash's folder."""

    remnant: Remnant
    note: str = ""
    error: float = 0.0
    picture: str = ""


@dataclass(frozen=True)
class Stash:
    """The leftovers, in the order in which they were added; names are unique."""

    items: tuple[Stashed, ...] = ()

    @property
    def remnants(self) -> tuple[Remnant, ...]:
        """The leftovers without their notes."""
        return tuple(item.remnant for item in self.items)


def add(stash: Stash, remnants: Iterable[Remnant], *, note: str = "", error: float = 0.0, picture: str = "") -> Stash:
    """The stash with these leftovers added. A name that is taken gets a number: "navy", "navy-2", "navy-3"."""
    items = list(stash.items)
    for remnant in remnants:
        taken = {item.remnant.name for item in items}
        name, number = remnant.name, 2
        while name in taken:
            name, number = f"{remnant.name}-{number}", number + 1
        items.append(Stashed(replace(remnant, name=name, file=None), note, error, picture))
    return Stash(tuple(items))


def _same(a: Remnant, b: Remnant) -> bool:
    from shapely.geometry import Polygon

    if a.cloth != b.cloth or len(a.flaws) != len(b.flaws):
        return False
    return float(Polygon(a.outline, a.flaws).symmetric_difference(Polygon(b.outline, b.flaws)).area) < _SAME_MM2


def already_there(stash: Stash, remnants: Iterable[Remnant], *, note: str) -> dict[str, str]:
    """Which of these leftovers the stash holds with that note, by their names: the name there.

    The same are those of one cloth, outline and flaws; each of the stash's answers for one of them only, as a lay may
    leave two equal ones.
    """
    left = [item.remnant for item in stash.items if item.note == note]
    found: dict[str, str] = {}
    for remnant in remnants:
        twin = next((other for other in left if _same(remnant, other)), None)
        if twin is not None:
            left.remove(twin)
            found[remnant.name] = twin.name
    return found


def remove(stash: Stash, names: Iterable[str]) -> Stash:
    """The stash without these. Raises OrderError for a name that is not in it; nothing is then removed."""
    gone = set(names)
    known = [item.remnant.name for item in stash.items]
    for name in sorted(gone - set(known)):
        near = difflib.get_close_matches(name, known, 1)
        hint = f"did you mean '{near[0]}'?" if near else f"it holds: {', '.join(known) or 'nothing'}"
        raise OrderError(f"there is no remnant '{name}' in the stash; {hint}", code="remnant.unknown")
    return Stash(tuple(item for item in stash.items if item.remnant.name not in gone))


def used_by(stash: Stash, lay: Lay) -> tuple[str | None, str | None]:
    """The name of the stash's leftover that the lay lies on, if it is one; else words where one of the same name is
    another piece of cloth."""
    if lay.remnant is None:
        return None, None
    mine = next((i.remnant for i in stash.items if (i.remnant.name, i.remnant.cloth) == (lay.remnant, lay.cloth)), None)
    if mine is None:
        return None, None
    spread = lay.sections[0].spread
    lain = lay.leftover
    if lain is None and spread.kind == "open":
        lain = Remnant(lay.remnant, lay.cloth, spread.plies[0].region, spread.plies[0].flaws)
    if lain is not None and not _same(mine, lain):
        return None, (
            f"the stash's '{mine.name}' is of another shape than the leftover of that name that this lay was cut from, "
            "so it stays; --remove takes it out"
        )
    return mine.name, None


def with_stash(order: Order, stash: Stash) -> Order:
    """The order with those leftovers of the stash whose cloth it uses. The order's own remnants come first and keep
    their names; a stashed one of the same name is left out (it is the same leftover)."""
    cloths = {cloth.name for cloth in order.cloths}
    own = {remnant.name for remnant in order.remnants}
    more = tuple(r for r in stash.remnants if r.cloth in cloths and r.name not in own)
    return replace(order, remnants=(*order.remnants, *more))


def read_stash(path: Path) -> Stash:
    """The stash in that file; an empty one if there is no such file yet.

    Raises OrderError for anything that is not a sound stash, with the file, the key, and what was expected.
    """
    try:
        text = path.read_text("utf-8")
    except FileNotFoundError:
        return Stash()
    except IsADirectoryError:
        raise OrderError(
            "this is a folder, but a stash file was expected: name a file in it", file=path, code="file.folder"
        ) from None
    except UnicodeDecodeError:
        raise OrderError(
            "this is not a text file in UTF-8; a stash (TOML) was expected", file=path, code="file.not-text"
        ) from None
    except OSError as error:
        raise OrderError(
            f"the stash cannot be read ({error.strerror}): check the file's rights", file=path, code="file.unreadable"
        ) from None
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise OrderError(
            f"this is not sound TOML ({error}): mend the line, or restore the file", file=path, code="stash.toml"
        ) from None
    if data.get("schema") != SCHEMA:
        raise OrderError(
            f"found {data.get('schema')!r}, expected {SCHEMA!r}", file=path, key="schema", code="stash.schema"
        )
    units = data.get("units", "mm")
    if units not in UNITS:
        raise OrderError(
            f"found {units!r}, expected one of {', '.join(UNITS)}", file=path, key="units", code="stash.units"
        )
    for key in data:
        if key not in ("schema", "units", "remnant"):
            raise OrderError(
                "unknown key; a stash has schema, units and [[remnant]]", file=path, key=key, code="stash.key-unknown"
            )
    entries = data.get("remnant", [])
    if not isinstance(entries, list):
        raise OrderError(
            "found one table, expected [[remnant]] with two brackets", file=path, key="remnant", code="stash.value"
        )
    items = tuple(_Entry(path, i, entry, units).stashed() for i, entry in enumerate(entries, start=1))
    seen: set[str] = set()
    for item in items:
        if item.remnant.name in seen:
            raise OrderError(
                f"two remnants are named '{item.remnant.name}': rename one",
                file=path,
                key="remnant.name",
                code="remnant.name-twice",
            )
        seen.add(item.remnant.name)
    return Stash(items)


class _Entry:
    """One [[remnant]] table on its way in."""

    def __init__(self, path: Path, number: int, entry: Any, units: str) -> None:
        self.path, self.where, self.units = path, f"remnant {number}", units
        if not isinstance(entry, dict):
            raise self.error("", f"found {entry!r}, expected a table", code="stash.value")
        self.entry: dict[str, Any] = entry
        for key in entry:
            if key not in _KEYS:
                near = difflib.get_close_matches(key, _KEYS, 1)
                raise self.error(
                    key,
                    f"unknown key; {f'did you mean {near[0]}?' if near else 'known: ' + ', '.join(_KEYS)}",
                    code="stash.key-unknown",
                )

    def error(self, key: str, message: str, *, code: str) -> OrderError:
        return OrderError(message, file=self.path, key=f"{self.where}.{key}" if key else self.where, code=code)

    def text(self, key: str, default: str | None = None) -> str:
        value = self.entry.get(key, default)
        if not isinstance(value, str) or (default is None and not value.strip()):
            raise self.error(key, f"found {value!r}, expected text", code="stash.value")
        return value

    def length(self, key: str, value: Any, *, negative: bool = False) -> float:
        try:
            return parse_length(value, self.units, negative=negative)
        except UnitsError as error:
            raise self.error(key, error.message, code=error.code) from None

    def ring(self, key: str, points: Any) -> Ring:
        if not isinstance(points, list) or len(points) < 3:
            raise self.error(
                key, f"found {points!r:.60}, expected at least three points [[x, y], …]", code="stash.value"
            )
        ring: list[Point] = []
        for point in points:
            if not isinstance(point, list) or len(point) != 2:
                raise self.error(key, f"found the point {point!r:.60}, expected [x, y]", code="stash.value")
            x, y = (self.length(key, value, negative=True) for value in point)
            ring.append((x, y))
        return tuple(ring)

    def stashed(self) -> Stashed:
        name, cloth, note = self.text("name"), self.text("cloth"), self.text("note", "")
        error = self.length("error", self.entry.get("error", 0.0))
        picture = self.text("picture", "")
        if "outline" in self.entry:
            for key in ("width", "length"):
                if key in self.entry:
                    raise self.error(key, "give either width and length, or outline, not both", code="stash.value")
            outline = self.ring("outline", self.entry["outline"])
        else:
            for key in ("width", "length"):
                if key not in self.entry:
                    raise self.error(key, "missing: give width and length, or outline", code="stash.value")
            width, length = self.length("width", self.entry["width"]), self.length("length", self.entry["length"])
            outline = ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width))
        flaws = self.entry.get("flaws", [])
        if not isinstance(flaws, list):
            raise self.error("flaws", f"found {flaws!r:.60}, expected a list of outlines", code="stash.value")
        rings = (outline, *(self.ring("flaws", flaw) for flaw in flaws))
        seen = self.path.parent / picture if picture else None
        return Stashed(Remnant(name, cloth, *self.sound(rings), picture=seen), note, error, picture)

    def sound(self, rings: tuple[Ring, ...]) -> tuple[Ring, tuple[Ring, ...]]:
        from shapely.geometry import Polygon, polygon

        low = [min(p[k] for p in rings[0]) for k in (0, 1)]
        found: list[Ring] = []
        for key, ring in zip(("outline", *("flaws",) * (len(rings) - 1)), rings, strict=True):
            shape = Polygon(ring)
            if not shape.is_valid or not math.isfinite(shape.area) or shape.area <= 0.0:
                raise self.error(
                    key, "the outline crosses itself or has no area: draw it as one simple loop", code="stash.value"
                )
            turned = polygon.orient(shape).exterior.coords[:-1]
            found.append(tuple((float(x) - low[0], float(y) - low[1]) for x, y in turned))
        return found[0], tuple(found[1:])


def write_stash(path: Path, stash: Stash) -> None:
    """Write the stash, whole or not at all. Raises InputError if it cannot be written; the old file then stays."""
    import tomli_w

    entries: list[dict[str, Any]] = []
    for item in stash.items:
        remnant = item.remnant
        entry: dict[str, Any] = {"name": remnant.name, "cloth": remnant.cloth}
        if replace(remnant, flaws=()).rectangular:
            entry["width"] = _rounded(max(p[1] for p in remnant.outline) - min(p[1] for p in remnant.outline))
            entry["length"] = _rounded(max(p[0] for p in remnant.outline) - min(p[0] for p in remnant.outline))
        else:
            entry["outline"] = _points(remnant.outline)
        if remnant.flaws:
            entry["flaws"] = [_points(flaw) for flaw in remnant.flaws]
        if item.note:
            entry["note"] = item.note
        if item.error:
            entry["error"] = _rounded(item.error)
        if item.picture:
            entry["picture"] = item.picture
        entries.append(entry)
    text = "# Leftovers, kept by the program; may be edited by hand.\n" + tomli_w.dumps(
        {"schema": SCHEMA, "units": "mm", "remnant": entries}
    )
    write_outputs({path: text.encode("utf-8")})


def _rounded(value: float) -> float:
    return round(value, _DECIMALS)


def _points(ring: Ring) -> list[list[float]]:
    return [[_rounded(x), _rounded(y)] for x, y in ring]
