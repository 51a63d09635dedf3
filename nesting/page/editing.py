"""An edit of the order's text, how it is refused, and what all commands that make one share.

What is typed is read by the readers of orders before it goes into the file, so that nothing gets in that would not come
out again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from nesting.files.orders.order_schema import BLOCKS, TOP, Key, read_block
from nesting.files.orders.order_values import Place
from nesting.model.errors import NestingError, OrderError
from nesting.page import protocol as ask
from nesting.page.ordertext import OrderText
from nesting.page.plain import plain
from nesting.page.survey import Survey
from nesting.page.words import view_of

__all__ = ["Edit", "Edits", "Refused", "raws"]

_NUMBERS = {"price", "ratio", "value", "mitre_limit", "tilt", "grain", "factor", "least", "most"}
_COUNTS = {"count", "cut", "plies", "max_plies", "openings"}


class Refused(NestingError):
    """A command that cannot be done, with its code for the page and words that would have done."""

    exit_code = 2

    def __init__(self, code: str, message: str, choices: list[str] | None = None, **where: Any) -> None:
        super().__init__(message)
        self.code = code
        self.choices = choices or []
        self.where = where


@dataclass(frozen=True)
class Edit:
    """``text``: the order after the command; ``label``: the step's name, as undo shows it; ``lenient``: it may leave
    something open that was whole (a file dropped, a piece taken out), ``readable``: but no file that cannot be read.
    ``holds``: piece, size, key and value that the order must have when it is read again, or nothing was done.
    ``renamed``: what a piece was called before, and what it is called now."""

    label: str
    text: OrderText
    result: dict[str, Any] = field(default_factory=dict)
    lenient: bool = False
    holds: tuple[str, str | None, str, Any] | None = None
    readable: bool = False
    renamed: tuple[str, str] | None = None


def _plain(value: Any, key: str, place: Place) -> Any:
    """Numbers that came as typed: "14,90" is 14.9."""
    if isinstance(value, str) and key in _NUMBERS | _COUNTS:
        text = value.strip().replace(",", ".")
        try:
            number = float(text)
        except ValueError:
            if key in ("count", "ratio", "factor", "least", "most"):
                return value  # "most", "90 %": for the reader to judge
            whole = "a whole number" if key in _COUNTS else "a plain number"
            example = "2" if key in _COUNTS else {"price": "14.90", "grain": "90", "tilt": "2"}.get(key, "0.9")
            place.refuse(f"found '{value}'; {whole} was expected, such as {example}")
        if key in _COUNTS:
            if number != int(number):
                place.refuse(f"found '{value}'; a whole number was expected")
            return int(number)
        return number
    return value


class Edits:
    """Commands of one kind. ``does``: what is done by which command; each gives the edit.

    Raise a NestingError where it cannot be done: OrderError, UnitsError from reading what was typed, Refused.
    """

    does: ClassVar[Mapping[type[ask.Command], Callable[..., Edit]]] = {}

    def __init__(self, text: OrderText, survey: Survey) -> None:
        self.text = text
        self.survey = survey
        self.root = Place(survey.path.name, units=survey.document.get("units"))

    def raw(self, kind: str) -> list[dict[str, Any]]:
        """The blocks of one kind as they stand in the order."""
        return [one for one in self.survey.document.get(kind, []) if isinstance(one, dict)]

    def read(self, kind: str, key: str, value: Any, name: str | int) -> Any:
        """The value as it may be written, having been read by the order's own reader."""
        keys = TOP if kind == "top" else BLOCKS.get(kind, ())
        spec: Key | None = next((one for one in keys if one.name == key), None)
        place = self.root if kind == "top" else self.root.at(f"{kind}[{name}]")
        if spec is None:
            raise OrderError(
                f"there is no '{key}' to be set here",
                file=self.root.file,
                key=f"{kind}.{key}",
                code="order.key-unknown",
            )
        if value is None:
            return None
        if isinstance(value, str) and not value.strip():
            return None
        value = _plain(value, key, place.at(key))
        if isinstance(value, str):
            value = value.strip()
        if (kind, key) == ("garment", "ratio") and isinstance(value, float) and value.is_integer():
            value = int(value)
        read_block({key: value}, [spec], place)
        return value

    def block(self, kind: str, index: int) -> dict[str, Any]:
        """One of them. Refused where it is not there any more."""
        raws = self.raw(kind)
        if not 0 <= index < len(raws):
            raise Refused("gone", f"this {plain(f'[[{kind}]]')} is not in the order any more", view=view_of(kind))
        return raws[index]

    def set(self, kind: str, index: int, key: str, value: Any, what: str) -> Edit:
        """A key of one block set to what was typed; ``what``: how undo calls the block."""
        name = self.block(kind, index).get("name", index + 1)
        value = self.read(kind, key, value, name)
        return Edit(f"{key.replace('_', ' ')} of {what}", self.text.set(kind, index, key, value))

    def piece_key(self, piece: str, size: str | None) -> tuple[str, str | None]:
        """The piece by that name. Refused where it is not there any more."""
        key = self.survey.piece_of(piece, size)
        if key is None:
            raise Refused("gone", f"there is no piece '{piece}' any more", view="pieces", piece=piece)
        return key

    def piece_block(self, text: OrderText, piece: str, size: str | None) -> tuple[OrderText, int]:
        """The text with a [[piece]] block for the piece, and the number of that."""
        import tomllib

        for index, one in enumerate(tomllib.loads(text.text).get("piece", [])):
            if one.get("name") == piece and one.get("size") == size:
                return text, index
        text = text.add("piece", {"name": piece, "size": size})
        return text, text.count("piece") - 1

    def set_piece(self, piece: str, size: str | None, key: str | tuple[str, ...], value: Any) -> OrderText:
        """The text with a key of a piece set; what is said of all sizes counts in each."""
        if value is None and not any(one.get("name") == piece and one.get("size") == size for one in self.raw("piece")):
            return self.text
        text, index = self.piece_block(self.text, piece, size)
        text = text.set("piece", index, key, value)
        if size is None and value is not None and isinstance(key, str):
            # what is said of all sizes counts in each: a block of one size would win over it unseen
            for index, one in enumerate(raws(text, "piece")):
                if one.get("name") == piece and one.get("size") is not None and key in one:
                    text = text.set("piece", index, key, None)
        return text


def raws(text: OrderText, kind: str) -> list[dict[str, Any]]:
    """The blocks of one kind as they stand in a text."""
    import tomllib

    return [one for one in tomllib.loads(text.text).get(kind, []) if isinstance(one, dict)]
