"""What the commands do to the order's text. Each gives the new text and a label; nothing is written here."""

from __future__ import annotations

from typing import Any

from nesting.files.orders.order_schema import BLOCKS, read_block
from nesting.files.orders.order_values import Place
from nesting.page import protocol as ask
from nesting.page.editing import Edit, Edits, Refused
from nesting.page.edits_cloth import ClothEdits
from nesting.page.edits_edges import EdgeEdits
from nesting.page.edits_people import PeopleEdits
from nesting.page.edits_pieces import PieceEdits
from nesting.page.edits_seams import SeamEdits
from nesting.page.ordertext import OrderText
from nesting.page.survey import Survey

__all__ = ["edit_of", "new_alteration", "not_held"]

_KINDS: tuple[type[Edits], ...] = (PieceEdits, EdgeEdits, SeamEdits, ClothEdits, PeopleEdits)


def edit_of(cmd: ask.Command, text: OrderText, survey: Survey) -> Edit | None:
    """What a command does to the order; None for a command that is none of the order's.

    Raises a NestingError where it cannot be done: OrderError, UnitsError from reading what was typed, Refused.
    """
    for kind in _KINDS:
        if type(cmd) in kind.does:
            return kind.does[type(cmd)](kind(text, survey), cmd)
    return None


def not_held(made: Edit, after: Survey) -> Refused | None:
    """What is said where the order, read again, has another value than the one that was set; None where it holds."""
    if made.holds is None:
        return None
    piece, size, key, value = made.holds
    want = read_block({key: value}, [one for one in BLOCKS["piece"] if one.name == key], Place(after.path.name))[key]
    for at, asked in after.asked.items():
        if at[0] == piece and size in (None, at[1]) and asked[key] != want:
            return Refused(
                "not-held",
                f"{key.replace('_', ' ')} of '{piece}' would still be {asked[key]}, not {value}: the order says "
                "something else of it in another place. Nothing was changed",
                view="pieces",
                piece=piece,
            )
    return None


def new_alteration(cmd: ask.AlterTry, text: OrderText, survey: Survey) -> dict[str, Any]:
    """The [[alter]] block that a trial asks for, read as an order's would be."""
    return SeamEdits(text, survey).alteration(cmd)
