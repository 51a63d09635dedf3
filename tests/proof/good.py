"""One sound lay for each spread, worked out by hand: what lies where, and what it gives."""

from __future__ import annotations

from dataclasses import replace

from nesting.cloth.spreads import make_spread
from nesting.model.lay import Lay, Section
from nesting.model.order import Order, Remnant

from .build import BAND, BRIEF, GUSSET, LEG, TAB, cut, finished, lay_of, order_of, put

Case = tuple[Order, Lay]


def open_lay() -> Case:
    """Open cloth: the pair takes two placements, one flipped; the half is opened out; gap 5 mm."""
    order = order_of(cut(LEG), cut(BRIEF), cut(TAB), gap=5.0)
    return order, lay_of(
        order,
        "open",
        [
            put(LEG, 150, 100),  # y 20 … 190
            put(LEG, 150, 300, flipped=True),  # y 210 … 380
            put(BRIEF, 100, 530, opened=True),  # fold at y = 500, whole 390 … 610
            put(TAB, 60, 650, 180.0),
        ],
    )


def lengthwise() -> Case:
    """Lengthwise fold, 500 mm on the table: the half on the fold, the pair through both plies, the tab on the top ply
    where it lies flipped, as that ply lies face down; the band on the bottom ply right under it."""
    order = order_of(cut(LEG), cut(BRIEF), cut(TAB), cut(BAND), gap=5.0)
    return order, lay_of(
        order,
        "lengthwise fold",
        [
            put(BRIEF, 100, 30, plies=(0, 1), on_fold=True),  # y 0 … 110
            put(LEG, 150, 200, plies=(0, 1)),  # y 120 … 290
            put(TAB, 60, 330, plies=(1,), flipped=True),
            put(BAND, 130, 330, plies=(0,)),
        ],
    )


def partial() -> Case:
    """Partial fold, flap of 150 mm, table 850 mm: the half on the fold, the legs beyond the flap on the lower ply."""
    order = order_of(cut(LEG), cut(BRIEF), cut(TAB), gap=5.0)
    return order, lay_of(
        order,
        "partial fold",
        [
            put(BRIEF, 100, 30, 180.0, plies=(0, 1), on_fold=True, flipped=True),  # fold edge below again
            put(LEG, 150, 300),
            put(LEG, 150, 500, flipped=True),
            put(TAB, 300, 50, plies=(1,), flipped=True),
        ],
        depths=(150.0,),
    )


def double() -> Case:
    """Double fold, flaps of 150 and 200 mm, table 650 mm: one half on either fold, the legs in between."""
    order = order_of(cut(BRIEF), cut(LEG), count=2)
    return order, lay_of(
        order,
        "double fold",
        [
            put(BRIEF, 100, 30, plies=(0, 1), on_fold=True, copy=1),
            put(BRIEF, 100, 620, 180.0, plies=(0, 2), on_fold=True, copy=2),
            put(LEG, 150, 250, copy=1),
            put(LEG, 150, 430, copy=1, flipped=True),
            put(LEG, 460, 250, copy=2),
            put(LEG, 460, 430, copy=2, flipped=True),
        ],
        depths=(150.0, 200.0),
    )


def crosswise() -> Case:
    """Crosswise fold at x = 420: the gusset's fold edge, across the grain, lies on it; a pair through both plies."""
    order = order_of(cut(GUSSET), cut(LEG), cut(TAB))
    return order, lay_of(
        order,
        "crosswise fold",
        [
            put(GUSSET, 370, 60, plies=(0, 1), on_fold=True),  # x 320 … 420
            put(LEG, 150, 100, plies=(0, 1)),
            put(TAB, 60, 300, plies=(1,), flipped=True),
        ],
    )


def face_up() -> Case:
    """Three plies face up: each placement gives three equal pieces, so the pair takes two, for three garments."""
    order = order_of(cut(LEG), cut(BRIEF), count=3, plies=3)
    every = (0, 1, 2)
    return order, lay_of(
        order,
        "stacked face up",
        [
            put(LEG, 150, 100, plies=every, copies=(1, 2, 3)),
            put(LEG, 150, 300, plies=every, flipped=True, copies=(1, 2, 3)),
            put(BRIEF, 100, 530, plies=every, opened=True, copies=(1, 2, 3)),
        ],
    )


def face_to_face() -> Case:
    """Four plies face to face: one placement gives two pairs; the tabs lie on one ply each, flipped on one that is face
    down."""
    order = order_of(cut(LEG), cut(TAB), count=2, plies=4)
    return order, lay_of(
        order,
        "stacked face to face",
        [
            put(LEG, 150, 100, plies=(0, 1, 2, 3), copies=(1, 1, 2, 2)),
            put(TAB, 60, 300, plies=(0,), copy=1),
            put(TAB, 60, 300, plies=(3,), copy=2, flipped=True),
        ],
    )


def tube() -> Case:
    """A tube, flat 600 mm: a half on the fold at either side, the pair through both plies in between."""
    order = order_of(cut(BRIEF, cut=2), cut(LEG), tubular=True, width=600.0, selvage=0.0)
    return order, lay_of(
        order,
        "tubular",
        [
            put(BRIEF, 100, 30, plies=(0, 1), on_fold=True),
            put(BRIEF, 100, 570, plies=(0, 1), on_fold=True, flipped=True),
            put(LEG, 150, 250, plies=(0, 1)),
        ],
    )


def sections() -> Case:
    """First folded lengthwise for the half, then refolded and cut open: legs. Gap 5 mm, between the sections too."""
    order = order_of(cut(BRIEF), cut(LEG), gap=5.0)
    cloth = order.cloths[0]
    first = Section(
        make_spread("lengthwise fold", cloth, 200.0),
        200.0,
        (put(BRIEF, 100, 30, plies=(0, 1), on_fold=True),),
    )
    second = Section(
        make_spread("open", cloth, 300.0), 300.0, (put(LEG, 150, 100), put(LEG, 150, 430, flipped=True)), 205.0
    )
    return order, finished(order, (first, second))


def leftover() -> Case:
    """A leftover with a hole and a slanted end, laid open."""
    order = order_of(cut(LEG), cut(TAB))
    remnant = Remnant(
        "scrap",
        "main",
        ((0, 0), (700, 0), (600, 500), (0, 500)),
        (((310, 100), (400, 100), (400, 250), (310, 250)),),
    )
    order = replace(order, remnants=(remnant,))
    lay = lay_of(
        order,
        "open",
        [put(LEG, 150, 90), put(LEG, 150, 300, flipped=True), put(TAB, 460, 300)],
        remnant=remnant,
    )
    return order, lay


ALL = {
    "open": open_lay,
    "lengthwise fold": lengthwise,
    "partial fold": partial,
    "double fold": double,
    "crosswise fold": crosswise,
    "stacked face up": face_up,
    "stacked face to face": face_to_face,
    "tubular": tube,
    "sections": sections,
    "leftover": leftover,
}
