"""Fabric layout for people who sew.

The flow, and the only direction in which modules import each other::

    files ──> pieces ──> order ──> cloth & spread ──> packing ──> proof ──> report

The public names are loaded when they are first used, as some of them need large libraries.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from nesting.api import lay
    from nesting.files import read_pieces
    from nesting.files.lays.layfile import read_lay
    from nesting.files.orders.order import load_order
    from nesting.model.errors import CannotLayError, InputError, NestingError
    from nesting.model.findings import Finding
    from nesting.model.lay import Lay, Placement
    from nesting.model.order import Order
    from nesting.model.piece import Piece
    from nesting.proof import prove
    from nesting.session.session import Session

__version__ = "0.1.0"

__all__ = [
    "CannotLayError",
    "Finding",
    "InputError",
    "Lay",
    "NestingError",
    "Order",
    "Piece",
    "Placement",
    "Session",
    "lay",
    "load_order",
    "prove",
    "read_lay",
    "read_pieces",
]

_HOMES = {
    "CannotLayError": "nesting.model.errors",
    "Finding": "nesting.model.findings",
    "InputError": "nesting.model.errors",
    "Lay": "nesting.model.lay",
    "NestingError": "nesting.model.errors",
    "Order": "nesting.model.order",
    "Piece": "nesting.model.piece",
    "Placement": "nesting.model.lay",
    "Session": "nesting.session.session",
    "lay": "nesting.api",
    "load_order": "nesting.files.orders.order",
    "prove": "nesting.proof",
    "read_lay": "nesting.files.lays.layfile",
    "read_pieces": "nesting.files",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'nesting' has no attribute '{name}'")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
