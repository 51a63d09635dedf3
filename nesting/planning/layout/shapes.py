"""Shapes of pieces that every spread asks for again, worked out once: opened out, turned, symmetric or not."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from nesting.model.lay import mirrored_over_fold, placed
from nesting.model.piece import Piece
from nesting.resolving import hands

__all__ = ["is_symmetric", "opened_ring", "outline_at_origin", "turned_ring", "whole"]

Floats = NDArray[np.float64]


class _Same:
    """A piece as a key: equal to itself only, so that it need not be read through to be found again."""

    __slots__ = ("piece",)

    def __init__(self, piece: Piece) -> None:
        self.piece = piece

    def __hash__(self) -> int:
        return id(self.piece)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.piece is self.piece


def whole(half: Piece) -> Piece:
    """A half opened out."""
    return _whole(_Same(half))


def is_symmetric(piece: Piece) -> bool:
    """Whether the piece is its own mirror image across an axis along its grainline, marks included."""
    return _is_symmetric(_Same(piece))


def outline_at_origin(piece: Piece, turn: float, flipped: bool) -> Floats:
    """The outline (n, 2) of a piece as it lies with its reference point at the origin, mm."""
    return _outline(_Same(piece), turn, flipped)


def turned_ring(ring: Floats, turn: float, flipped: bool) -> Floats:
    """A ring (n, 2) flipped, then turned by ``turn`` degrees; anticlockwise as it was."""
    return _turned(np.ascontiguousarray(ring).tobytes(), turn, flipped)


def opened_ring(half: Floats, piece: Piece) -> Floats:
    """A half's ring (n, 2) and its mirror image across the fold edge of ``piece``, as one ring."""
    return _opened(np.ascontiguousarray(half).tobytes(), _Same(piece))


@lru_cache(maxsize=512)
def _whole(half: _Same) -> Piece:
    return mirrored_over_fold(half.piece)


@lru_cache(maxsize=512)
def _is_symmetric(own: _Same) -> bool:
    return hands.is_symmetric(own.piece)


@lru_cache(maxsize=4096)
def _outline(own: _Same, turn: float, flipped: bool) -> Floats:
    return np.array(placed(own.piece, 0.0, 0.0, turn, flipped).outline)


@lru_cache(maxsize=4096)
def _turned(data: bytes, turn: float, flipped: bool) -> Floats:
    return np.array(placed(Piece("", _ring(data)), 0.0, 0.0, turn, flipped).outline)


@lru_cache(maxsize=1024)
def _opened(data: bytes, own: _Same) -> Floats:
    return np.array(mirrored_over_fold(Piece("", _ring(data), fold=own.piece.fold)).outline)


def _ring(data: bytes) -> tuple[tuple[float, float], ...]:
    return tuple((x, y) for x, y in np.frombuffer(data, dtype=np.float64).reshape(-1, 2).tolist())
