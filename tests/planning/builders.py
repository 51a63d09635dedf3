"""Small orders, built in code, whose answers can be worked out by hand."""

from __future__ import annotations

from typing import Any

from nesting.model.order import Cloth, CutPiece, Garment, Order
from nesting.model.piece import Drill, Notch, Piece

__all__ = ["flag", "half", "order_of", "rect"]


def rect(name: str, along: float, across: float, **how: Any) -> CutPiece:
    """A rectangle, symmetric about its grainline."""
    a, b = along / 2, across / 2
    outline = ((-a, -b), (a, -b), (a, b), (-a, b))
    return CutPiece(Piece(name, outline, grainline=((-a / 2, 0.0), (a / 2, 0.0))), None, **how)


def flag(name: str, along: float, across: float, *, marked: bool = False, **how: Any) -> CutPiece:
    """A right triangle: its mirror image is another piece. ``marked`` adds a notch and a drill mark."""
    a, b = along / 2, across / 2
    outline = ((-a, -b), (a, -b), (-a, b))
    notches = (Notch((0.0, -b), 90.0),) if marked else ()
    drills = (Drill((-a / 2, -b / 2)),) if marked else ()
    piece = Piece(name, outline, notches=notches, drills=drills, grainline=((-a / 2, -b / 2), (a / 2, -b / 2)))
    return CutPiece(piece, None, **how)


def half(name: str, along: float, across: float, *, fold_across: bool = False, **how: Any) -> CutPiece:
    """Half of a symmetric piece, narrower at one end, with its fold edge along the grain (or across it)."""
    a, b = along / 2, across
    if fold_across:
        outline = ((0.0, -b / 2), (along, -b / 2), (along, b / 4), (0.0, b / 2))
        piece = Piece(name, outline, grainline=((along / 4, 0.0), (along / 2, 0.0)), fold=((0.0, b / 2), (0.0, -b / 2)))
    else:
        outline = ((-a, 0.0), (a, 0.0), (a, b), (-a, b / 2))
        piece = Piece(name, outline, grainline=((-a / 2, b / 4), (a / 2, b / 4)), fold=((-a, 0.0), (a, 0.0)))
    return CutPiece(piece, None, **how)


def order_of(*cuts: CutPiece, count: int = 1, together: tuple[Any, ...] = (), **cloth: Any) -> Order:
    """An order of ``count`` garments made of these pieces, on a cloth 1000 mm wide unless ``cloth`` says otherwise."""
    settings: dict[str, Any] = {"width": 1000.0, "end_allowance": 0.0, "increment": 1.0, **cloth}
    main = Cloth("main", **settings)
    garment = Garment("g", None, count, tuple(cut.name for cut in cuts))
    return Order("case", "mm", None, "", cuts, (main,), (garment,), together=together)
