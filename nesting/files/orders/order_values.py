"""Single values of a cutting order: each reader turns what stands behind a key into a checked value or refuses it.

A reader is called with the raw TOML value and the place it stands at, and raises an OrderError (a UnitsError where a
length or share cannot be read) that names the file, the key, what was found and what was expected.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any, NoReturn

from nesting.model.errors import OrderError, UnitsError
from nesting.model.findings import Figure
from nesting.model.units import parse_length, parse_share, unit_name

__all__ = [
    "Choice",
    "Place",
    "Reader",
    "anchor",
    "angle",
    "choice",
    "count",
    "flag",
    "length",
    "list_of",
    "listing",
    "mapping_of",
    "nearest",
    "number",
    "one_or_more",
    "page_numbers",
    "pair_of",
    "price",
    "ratio",
    "seam_sides",
    "share",
    "text",
]

Reader = Callable[[Any, "Place"], Any]


@dataclass(frozen=True)
class Place:
    """Where in which order a value stands: ``units`` is what bare numbers are in (None: not said)."""

    file: str
    key: str = ""
    units: str | None = None

    def at(self, key: str) -> Place:
        """The place of ``key`` within this one."""
        return replace(self, key=f"{self.key}.{key}" if self.key else key)

    def refuse(
        self, message: str, *, code: str = "order.value", piece: str | None = None, **figures: Figure
    ) -> NoReturn:
        """Raise the OrderError that belongs here; ``figures`` are what the message tells, by name."""
        raise OrderError(message, file=self.file, key=self.key or None, piece=piece, code=code, figures=figures)


def listing(names: Iterable[object]) -> str:
    """Names for a message: 'a', 'b' and 'c'."""
    quoted = [f"'{name}'" for name in names]
    return " and ".join([", ".join(quoted[:-1]), quoted[-1]]) if len(quoted) > 1 else "".join(quoted) or "none"


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that a misspelt one most likely means, None where nothing comes near."""
    by_lower = {k.lower(): k for k in known}
    found = difflib.get_close_matches(name.lower(), list(by_lower), n=1, cutoff=0.6)
    return by_lower[found[0]] if found else None


def _shown(value: object) -> str:
    """The value as an order would have it."""
    shown = str(value).lower() if isinstance(value, bool) else repr(value)
    return shown if len(shown) <= 60 else shown[:57] + "…"


def text(value: Any, place: Place) -> str:
    """A text that is not empty."""
    if not isinstance(value, str) or not value.strip():
        place.refuse(f'found {_shown(value)}; a text in quotes was expected, as in "front"', code="order.value")
    if any(ord(sign) < 32 for sign in value):
        place.refuse(
            f"found {_shown(value)}, with a line break or a tab in it; a text on one line was expected: a \\ within "
            "quotes begins such a sign, so write / for it in the names of files and folders",
            code="order.value",
        )
    return value.strip()


def flag(value: Any, place: Place) -> bool:
    """``true`` or ``false``."""
    if not isinstance(value, bool):
        place.refuse(f"found {_shown(value)}; true or false was expected, without quotes", code="order.value")
    return value


def count(least: int, most: int, *, word: str | None = None) -> Reader:
    """A whole number from ``least`` to ``most``, or that ``word``."""
    expected = f"a whole number from {least} to {most}" + (f' or "{word}"' if word else "")

    def read(value: Any, place: Place) -> int | str:
        if word is not None and isinstance(value, str) and value.strip().casefold() == word:
            return word
        if isinstance(value, bool) or not isinstance(value, int):
            place.refuse(f"found {_shown(value)}; {expected} was expected", code="order.value")
        if not least <= value <= most:
            hint = ": leave the block out if none is wanted" if value == 0 and least == 1 else ""
            place.refuse(f"found {_shown(value)}; {expected} was expected{hint}", code="order.value")
        return value

    return read


def number(least: float, most: float, expected: str) -> Reader:
    """A plain number from ``least`` to ``most``; ``expected`` says what it is."""

    def read(value: Any, place: Place) -> float:
        plain = isinstance(value, int | float) and not isinstance(value, bool)
        if not plain or not least <= value <= most:  # NaN compares false
            place.refuse(
                f"found {_shown(value)}; {expected} from {least:.12g} to {most:.12g} was expected", code="order.value"
            )
        return float(value)

    return read


def ratio(least: float, most: float) -> Reader:
    """A ratio from ``least`` to ``most``: a plain number (0.9), or a share in quotes ("90 %")."""
    expected = f'a ratio (0.9 or "90 %") from {least:g} to {most:g} was expected'

    def read(value: Any, place: Place) -> float:
        found = value
        if isinstance(value, str) and "%" in value:
            found = share()(value, place)
        elif isinstance(value, str):
            # 0.9 in quotes is meant as 0.9, whichever sign stands for its point
            try:
                found = float(value.strip().replace(",", "."))
            except ValueError:
                place.refuse(f"found {_shown(value)}; {expected}", code="order.value")
        plain = isinstance(found, int | float) and not isinstance(found, bool)
        if not plain or not least <= found <= most:  # NaN compares false
            meant = plain and most < found <= 100.0 * most
            hint = f': write "{found:g} %" if per cent is meant' if meant else ""
            place.refuse(f"found {_shown(value)}; {expected}{hint}", code="order.value")
        return float(found)

    return read


def angle(value: Any, place: Place) -> float:
    """Degrees from -360 to 360."""
    return float(number(-360.0, 360.0, "an angle in degrees (0 = to the right, 90 = up)")(value, place))


price = number(0.0, 1e6, "a price as a plain number (per metre; per yard where units are inches or yards)")


def length(*, least: float = 0.0, above: bool = False, negative: bool = False) -> Reader:
    """A length in mm, at least ``least`` mm (``above``: more than that); ``negative`` allows any sign."""

    def read(value: Any, place: Place) -> float:
        try:
            mm = parse_length(value, place.units, negative=negative)
        except UnitsError as error:
            raise UnitsError(
                error.message, file=place.file, key=place.key, code=error.code, figures=error.figures
            ) from None
        if not negative and (mm < least or (above and mm <= least)):
            bound = f"more than {least:g} mm" if above else f"at least {least:g} mm"
            place.refuse(f"found {_shown(value)}; a length of {bound} was expected", code="order.value")
        return mm

    return read


def share(*, below: float = math.inf, most: float = 10.0) -> Reader:
    """A share as a fraction of 1, not above ``most`` and less than ``below``."""

    def read(value: Any, place: Place) -> float:
        try:
            found = parse_share(value)
        except UnitsError as error:
            raise UnitsError(
                error.message, file=place.file, key=place.key, code=error.code, figures=error.figures
            ) from None
        if found >= below:
            place.refuse(f"found {_shown(value)}; a share below {100 * below:g} % was expected", code="order.value")
        if found > most:
            place.refuse(f"found {_shown(value)}; a share of at most {100 * most:g} % was expected", code="order.value")
        return found

    return read


class Choice:
    """Reads one of some words."""

    def __init__(self, allowed: tuple[str, ...]) -> None:
        self.allowed = allowed

    def __call__(self, value: Any, place: Place) -> str:
        """The word. OrderError for any other, with the nearest and all that are allowed."""
        if value not in self.allowed:
            near = nearest(value, self.allowed) if isinstance(value, str) else None
            if isinstance(value, str) and unit_name(value) in self.allowed:
                near = unit_name(value)
            hint = f" (did you mean '{near}'?)" if near else ""
            quotes = "" if isinstance(value, str) else ", in quotes"
            words = ", ".join(repr(a) for a in self.allowed)
            place.refuse(f"found {_shown(value)}{hint}; one of {words} was expected{quotes}", code="order.value")
        return str(value)


def choice(*allowed: str) -> Choice:
    """One of the ``allowed`` words."""
    return Choice(allowed)


def list_of(reader: Reader, *, least: int = 1, expected: str = "a list in square brackets") -> Reader:
    """A list of at least ``least`` values, none of them twice, as a tuple."""

    def read(value: Any, place: Place) -> tuple[Any, ...]:
        if not isinstance(value, list) or len(value) < least:
            place.refuse(
                f"found {_shown(value)}; {expected} with at least {least} in it was expected", code="order.value"
            )
        read_all = tuple(
            reader(one, Place(place.file, f"{place.key}[{n}]", place.units)) for n, one in enumerate(value, 1)
        )
        for n, one in enumerate(read_all):
            if one in read_all[:n]:
                place.refuse(
                    f"found {_shown(value[n])} twice; each is given once: take one away", code="order.value-twice"
                )
        return read_all

    return read


def seam_sides(value: Any, place: Place) -> tuple[tuple[str, ...], ...]:
    """The sides of a seam: each an edge "piece.edge", or a list of several in a row."""
    expected = 'the sides of a seam, as in ["front.side", "back.side"] or ["band.top", ["front.waist", "back.waist"]],'
    if not isinstance(value, list) or len(value) < 2:
        place.refuse(f"found {_shown(value)}; {expected} with at least 2 in it were expected", code="order.value")
    sides: list[tuple[str, ...]] = []
    for n, one in enumerate(value, 1):
        here = Place(place.file, f"{place.key}[{n}]", place.units)
        if not isinstance(one, list):
            sides.append((text(one, here),))
            continue
        if not one or any(isinstance(edge, list) for edge in one):
            here.refuse(
                f"found {_shown(one)}; a list of edges in a row was expected, as in [\"front.waist\", \"back.waist\"]",
                code="order.value",
            )
        sides.append(tuple(text(edge, here) for edge in one))
    for n, side in enumerate(sides):
        twice = [edge for edge in side if any(edge in other for other in sides[:n])]
        if twice and all(len(other) == 1 for other in sides):
            place.refuse(f"found {_shown(twice[0])} twice; each is given once: take one away", code="order.value-twice")
        if twice:
            place.refuse(
                f"found {_shown(twice[0])} on two sides; an edge is on one side of its seam: take it out of the other",
                code="order.value-twice",
            )
    return tuple(sides)


def pair_of(reader: Reader, expected: str) -> Reader:
    """Two values, as a tuple."""

    def read(value: Any, place: Place) -> tuple[Any, Any]:
        if not isinstance(value, list) or len(value) != 2:
            place.refuse(f"found {_shown(value)}; {expected} was expected", code="order.value")
        return reader(value[0], place), reader(value[1], place)

    return read


def mapping_of(reader: Reader, expected: str) -> Reader:
    """An inline table, as a tuple of (key, value)."""

    def read(value: Any, place: Place) -> tuple[tuple[str, Any], ...]:
        if not isinstance(value, dict):
            place.refuse(f"found {_shown(value)}; {expected} was expected", code="order.value")
        return tuple((key, reader(one, place.at(key))) for key, one in value.items())

    return read


def page_numbers(value: Any, place: Place) -> tuple[int, ...]:
    """Page numbers from 1, each once, in their order: a number, a list of numbers, or words such as "2-5, 8"."""
    expected = 'page numbers were expected, for example "2-5, 8" or [2, 3]'
    parts = value if isinstance(value, list) else [value]
    found: list[int] = []
    for part in parts:
        words = str(part).split(",") if isinstance(part, str | int) and not isinstance(part, bool) else [""]
        for word in words:
            match = re.fullmatch(r"\s*(\d{1,4})\s*(?:[-–]\s*(\d{1,4})\s*)?", word)
            first, last = (int(match[1]), int(match[2] or match[1])) if match else (0, 0)
            if not 1 <= first <= last:
                place.refuse(f"found {_shown(value)}; {expected}")
            found += range(first, last + 1)
    if not found:
        place.refuse(f"found {_shown(value)}; {expected}")
    return tuple(dict.fromkeys(found))


def one_or_more(value: Any, place: Place) -> tuple[str, ...]:
    """A text, or a list of them."""
    parts = value if isinstance(value, list) else [value]
    if not parts or not all(isinstance(part, str) and part.strip() for part in parts):
        place.refuse(f"found {_shown(value)}; a name or a list of names was expected")
    return tuple(part.strip() for part in parts)


def anchor(value: Any, place: Place) -> int | str:
    """A place on an outline: the name of a notch, or the number of a corner."""
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 10_000:
        return value
    if isinstance(value, str) and value.strip():
        return value.strip()
    place.refuse(
        f"found {_shown(value)}; the name of a notch in quotes, or the number of a corner (1, 2, …) as 'nesting "
        "check --picture' draws it, was expected",
        code="order.value",
    )
