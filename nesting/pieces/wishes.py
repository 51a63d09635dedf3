"""What an order asks of a piece before it is laid: edges, finishes, alterations. Read by ``files.order``, obeyed by
``pieces.prepare``. Lengths mm, angles degrees.

An *anchor* is a place on an outline: the name of a notch, or the number of a corner as the labelled picture of
``nesting check --picture`` shows it (1 is the corner nearest the lower left of the drawing, counted anticlockwise).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = [
    "Alteration",
    "AlterationKind",
    "Anchor",
    "Corner",
    "EdgeSpec",
    "Finish",
    "FinishKind",
    "Preparation",
    "Side",
]

Anchor = int | str
Side = Literal["left", "right", "top", "bottom"]
FinishKind = Literal["raw", "fold back", "bound", "lace", "elastic", "seam", "custom"]
Corner = Literal["mitre", "square", "mirror"]
AlterationKind = Literal["lengthen", "shorten", "add", "take", "take strip"]


@dataclass(frozen=True)
class EdgeSpec:
    """Names the stretch of an outline from ``start`` anticlockwise (as drawn) to ``end``."""

    name: str
    start: Anchor
    end: Anchor


@dataclass(frozen=True)
class Finish:
    """How an edge is finished. ``offset`` mm: how far the cut edge lies outside the seam or finished edge (positive
    for what is turned in or sewn in, 0 raw or bound, negative where a trim builds out beyond the cloth).

    ``mitre_limit``: a mitred corner reaches at most this many offsets from the corner, then it is squared.
    ``corner`` "mirror" shapes the ends so that the edge lies flush when it is turned back.
    """

    kind: FinishKind
    offset: float
    corner: Corner = "mitre"
    mitre_limit: float = 4.0
    name: str | None = None


@dataclass(frozen=True)
class Alteration:
    """One change after a fitting.

    *lengthen*, *shorten*: open or close the piece by ``by`` at a line across the grain through ``at``: a distance
    along the grain from the piece's lowest end in grain direction (mm, float), or an anchor.
    *add*, *take*: move ``edge`` out or in by ``by``, blended to nothing at the anchors in ``hold`` (either end; none
    held: the whole edge moves and its neighbours are trued to it).
    *take strip*: remove the strip of length ``by`` that begins at ``at``, keep both ends and join them.
    ``start``: where a distance ``at`` is measured from: "tail" or "head" of the grain arrow, or a named edge (its
    middle), towards the inside of the piece; None is the tail.
    ``true_edges``: names of the edges that are trued across the join (default: all that the line cuts).
    """

    kind: AlterationKind
    by: float
    at: float | Anchor | None = None
    at_is_distance: bool = False
    edge: str | None = None
    hold: tuple[Anchor, ...] = ()
    true_edges: tuple[str, ...] | None = None
    start: str | None = None


@dataclass(frozen=True)
class Preparation:
    """Everything that turns a drawn piece into the piece that is laid, in this order: fold and grain, edges,
    alterations, finishes, grain frame.

    ``fold`` is the side of the drawing that lies on the fold; ``grain`` in degrees of the drawing (0 to the right,
    90 up); both only where the drawing does not say. ``finishes`` maps edge names to finishes. ``allowance``: what the
    drawn cut outline already includes, per edge ("*" for all others), where the drawing has no seam outline.
    ``add_centre_notches`` adds missing notches at the middle of the named edges, ``add_fold_notches`` at the fold to
    those of the named edges that end there. ``trim_short``: edges at which this
    piece (a lining) is cut short of the fold-back by that length.
    """

    fold: Side | None = None
    grain: float | None = None
    edges: tuple[EdgeSpec, ...] = ()
    alterations: tuple[Alteration, ...] = ()
    finishes: tuple[tuple[str, Finish], ...] = ()
    allowance: tuple[tuple[str, float], ...] = ()
    add_centre_notches: tuple[str, ...] = ()
    trim_short: tuple[tuple[str, float], ...] = ()
    add_fold_notches: tuple[str, ...] = ()
