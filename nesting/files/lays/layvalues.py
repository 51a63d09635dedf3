"""Values of a JSON document, read with type and range, or refused with the key's path and what was expected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

from nesting.model.errors import OrderError
from nesting.model.piece import Point, Ring
from nesting.model.tolerances import LARGEST_MM

__all__ = ["Reader"]

T = TypeVar("T", bound=str)

_MISSING: Any = object()


class Reader:
    """One object of the document. ``path`` is where it stands ("placements[3]."), ``piece`` whose it is.

    Every method raises OrderError for a key that is missing (unless a default is given) or holds something else.
    """

    def __init__(self, document: Any, path: str, piece: str | None = None) -> None:
        self.path, self.piece = path, piece
        if not isinstance(document, Mapping):
            raise OrderError(
                f"an object {{…}} was expected, found {_shown(document)}",
                key=path.rstrip(".") or None,
                piece=piece,
                code="lay.value",
            )
        self._document = document

    def wrong(self, key: str, expected: str, found: Any) -> OrderError:
        """The error for a key that holds something else than expected."""
        return OrderError(
            f"{expected} expected, found {_shown(found)}", key=self.path + key, piece=self.piece, code="lay.value"
        )

    def has(self, key: str) -> bool:
        """Whether the key is there and is not null."""
        return self._document.get(key) is not None

    def _get(self, key: str, default: Any) -> Any:
        value = self._document.get(key, _MISSING)
        if value is _MISSING:
            if default is _MISSING:
                raise OrderError("the key is missing", key=self.path + key, piece=self.piece, code="lay.key-missing")
            return default
        return value

    def given(self, key: str) -> Mapping[str, Any]:
        """What stands there as it is, a table of plain values; empty where there is none."""
        value = self._get(key, {})
        if not isinstance(value, Mapping):
            raise self.wrong(key, "a table", value)
        return value

    def text(self, key: str, default: str = _MISSING) -> str:
        """A text."""
        value = self._get(key, default)
        if not isinstance(value, str):
            raise self.wrong(key, "a text", value)
        return value

    def maybe_text(self, key: str) -> str | None:
        """A text, or null, or nothing at all."""
        return self.text(key) if self.has(key) else None

    def choice(self, key: str, words: Sequence[T]) -> T:
        """One of these words."""
        value = self._get(key, _MISSING)
        for word in words:
            if value == word:
                return word
        raise self.wrong(key, "one of " + ", ".join(f'"{word}"' for word in words), value)

    def flag(self, key: str, default: bool = _MISSING) -> bool:
        """true or false."""
        value = self._get(key, default)
        if not isinstance(value, bool):
            raise self.wrong(key, "true or false", value)
        return value

    def whole(self, key: str, default: int = _MISSING, *, least: int | None = None) -> int:
        """A whole number, ``least`` or more."""
        return self._whole(key, self._get(key, default), least)

    def _whole(self, key: str, value: Any, least: int | None) -> int:
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int) or (least is not None and value < least):
            raise self.wrong(key, "a whole number" + (f", {least} or more" if least is not None else ""), value)
        return value

    def number(self, key: str, default: float = _MISSING, *, least: float | None = None) -> float:
        """A number, ``least`` or more, no larger than any lay."""
        return self._number(key, self._get(key, default), least)

    def _number(self, key: str, value: Any, least: float | None = None) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
            raise self.wrong(key, "a number", value)
        # before anything is made a float: a whole number may be too long for one
        if abs(value) > 100.0 * LARGEST_MM:
            raise self.wrong(key, "a number of a lay's size (mm)", value)
        if least is not None and value < least:
            raise self.wrong(key, f"a number, {least:g} or more,", value)
        return float(value)

    def _list(self, key: str, default: Any) -> list[Any]:
        value = self._get(key, default)
        if not isinstance(value, list | tuple):
            raise self.wrong(key, "a list […]", value)
        return list(value)

    def numbers(self, key: str) -> tuple[float, ...]:
        """A list of numbers; an empty one if the key is not there."""
        return tuple(self._number(f"{key}[{i}]", value) for i, value in enumerate(self._list(key, ())))

    def wholes(self, key: str, default: tuple[int, ...] = _MISSING) -> tuple[int, ...]:
        """A list of whole numbers, 0 or more."""
        return tuple(self._whole(f"{key}[{i}]", value, 0) for i, value in enumerate(self._list(key, default)))

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts; an empty one if the key is not there."""
        values = self._list(key, ())
        for i, value in enumerate(values):
            if not isinstance(value, str):
                raise self.wrong(f"{key}[{i}]", "a text", value)
        return tuple(values)

    def _point(self, key: str, value: Any) -> Point:
        if not isinstance(value, list | tuple) or len(value) != 2:
            raise self.wrong(key, "a point [x, y]", value)
        return (self._number(key, value[0]), self._number(key, value[1]))

    def point(self, key: str) -> Point:
        """A point [x, y], mm."""
        return self._point(key, self._get(key, _MISSING))

    def _points(self, key: str, value: Any, least: int) -> Ring:
        if not isinstance(value, list | tuple) or len(value) < least:
            raise self.wrong(key, f"{least} or more points [[x, y], …]", value)
        return tuple(self._point(f"{key}[{i}]", p) for i, p in enumerate(value))

    def points(self, key: str, *, least: int) -> Ring:
        """A list of points, mm."""
        return self._points(key, self._get(key, _MISSING), least)

    def two_points(self, key: str) -> tuple[Point, Point]:
        """The two ends of a line, mm."""
        points = self.points(key, least=2)
        if len(points) != 2:
            raise self.wrong(key, "the two ends of a line [[x, y], [x, y]]", list(points))
        return (points[0], points[1])

    def lines(self, key: str, *, least: int) -> tuple[Ring, ...]:
        """A list of lists of points; an empty one if the key is not there."""
        return tuple(self._points(f"{key}[{i}]", value, least) for i, value in enumerate(self._list(key, ())))

    def part(self, key: str, default: Any = _MISSING) -> Reader:
        """An object within this one."""
        return Reader(self._get(key, default), f"{self.path}{key}.", self.piece)

    def parts(self, key: str, *, needed: bool = False) -> tuple[Reader, ...]:
        """A list of objects within this one; an empty one if the key is not there and not needed."""
        values = self._list(key, _MISSING if needed else ())
        return tuple(Reader(value, f"{self.path}{key}[{i}].", self.piece) for i, value in enumerate(values))


def _shown(value: Any) -> str:
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    text = repr(value) if not isinstance(value, str) else f'"{value}"'
    return text if len(text) <= 60 else text[:57] + "…"
