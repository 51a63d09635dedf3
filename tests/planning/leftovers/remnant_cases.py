"""Twelve cases of leftovers whose best use is known by construction.

Remnants are cut like a jigsaw: the pieces of whole garments, put together without a gap, are the rectangle. Decoys
are added that look as if they helped. Why no more garments can be cut stands beside each case. Lengths mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from nesting.model.order import Cloth, CutPiece, Garment, Order, Remnant
from tests.planning.area_lays import order_of, rectangle, scrap, shape

__all__ = ["CASES", "Case"]

Case = Callable[[], tuple[Order, int]]


def _cloths(*names: str) -> tuple[Cloth, ...]:
    return tuple(Cloth(name, 1500.0) for name in names or ("main",))


def _briefs(count: int, **how: object) -> tuple[Sequence[CutPiece], list[Garment]]:
    """Front 300 × 200, back 300 × 220, band 300 × 80: together a rectangle of 300 × 500."""
    pieces = [rectangle("front", 300.0, 200.0), rectangle("back", 300.0, 220.0), rectangle("band", 300.0, 80.0)]
    return pieces, [Garment("briefs", None, count, ("front", "back", "band"), **how)]  # type: ignore[arg-type]


def one_garment_one_rectangle() -> tuple[Order, int]:
    """The garment is the rectangle; the decoys are too narrow for any of its pieces. All that is asked for: 1."""
    pieces, garments = _briefs(1)
    return order_of(pieces, garments, remnants=(scrap("a", 300.0, 500.0), scrap("strip", 2000.0, 70.0))), 1


def two_rectangles_and_a_third_asked() -> tuple[Order, int]:
    """Three asked, two jigsaws; the decoys take bands only (150 mm), so there is no third front."""
    pieces, garments = _briefs(3)
    remnants = (scrap("a", 300.0, 500.0), scrap("b", 300.0, 500.0), scrap("c", 400.0, 150.0), scrap("d", 900.0, 150.0))
    return order_of(pieces, garments, remnants=remnants), 2


def pieces_spread_over_three() -> tuple[Order, int]:
    """One remnant of two fronts, one of two backs, one of two bands: 2 garments, and they are full."""
    pieces, garments = _briefs(3)
    remnants = (scrap("fronts", 600.0, 200.0), scrap("backs", 300.0, 440.0), scrap("bands", 300.0, 160.0))
    return order_of(pieces, garments, remnants=remnants), 2


def same_cloth_forbids_mixing() -> tuple[Order, int]:
    """As before, but a garment is to come from one remnant: only the fourth remnant gives one."""
    pieces, garments = _briefs(3, same_cloth=True)
    remnants = (
        scrap("fronts", 600.0, 200.0),
        scrap("backs", 300.0, 440.0),
        scrap("bands", 300.0, 160.0),
        scrap("whole", 300.0, 500.0),
    )
    return order_of(pieces, garments, remnants=remnants), 1


def a_pair_split_over_two() -> tuple[Order, int]:
    """A left and a right triangle (legs 300 and 200), each on a remnant of exactly its own shape and hand."""
    triangle = ((0.0, 0.0), (300.0, 0.0), (0.0, 200.0))
    pieces = [shape("gusset", triangle, cut=2, mirrored=True)]
    remnants = (
        Remnant("right", "main", triangle),
        Remnant("left", "main", ((0.0, 0.0), (300.0, 200.0), (0.0, 200.0))),
    )
    return order_of(pieces, [Garment("shorts", None, 2, ("gusset",))], remnants=remnants), 1


def two_trapezia_make_a_rectangle() -> tuple[Order, int]:
    """A right-angled trapezium and itself turned by 180° are a rectangle of 400 × 250: cut two alike per garment."""
    trapezium = ((0.0, 0.0), (260.0, 0.0), (140.0, 250.0), (0.0, 250.0))
    pieces = [shape("panel", trapezium, cut=2)]
    garments = [Garment("shorts", None, 2, ("panel",))]
    remnants = (scrap("a", 400.0, 250.0), scrap("decoy", 1000.0, 240.0))
    return order_of(pieces, garments, remnants=remnants), 1


def two_sizes_compete() -> tuple[Order, int]:
    """S takes 250 × 200, L takes 300 × 200. 550 × 200 gives one of each, 500 × 200 two of S; no L fits beside them."""
    pieces = [rectangle("body", 250.0, 200.0, size="S"), rectangle("body", 300.0, 200.0, size="L")]
    garments = [Garment("briefs", "S", 3, ("body",)), Garment("briefs", "L", 2, ("body",))]
    remnants = (scrap("a", 550.0, 200.0), scrap("b", 500.0, 200.0), scrap("decoy", 240.0, 900.0))
    return order_of(pieces, garments, remnants=remnants), 4


def worth_more_than_many() -> tuple[Order, int]:
    """One large worth 5 or three small worth 1 each from 600 × 300: the value is 5, from one garment."""
    pieces = [rectangle("coat", 600.0, 300.0), rectangle("cap", 200.0, 300.0)]
    garments = [Garment("coat", None, 1, ("coat",), value=5.0), Garment("cap", None, 3, ("cap",), value=1.0)]
    return order_of(pieces, garments, remnants=(scrap("a", 600.0, 300.0), scrap("decoy", 190.0, 2000.0))), 1


def a_flaw_takes_one_place() -> tuple[Order, int]:
    """Three bodies of 300 × 200 fill 910 × 200 but for 10 mm, too little to leave a flaw of 20 × 20 out: two."""
    pieces = [rectangle("body", 300.0, 200.0)]
    garments = [Garment("briefs", None, 3, ("body",))]
    flaw = ((440.0, 90.0), (460.0, 90.0), (460.0, 110.0), (440.0, 110.0))
    return order_of(pieces, garments, remnants=(scrap("a", 910.0, 200.0, flaws=(flaw,)),)), 2


def two_cloths_each_with_its_remnants() -> tuple[Order, int]:
    """Main gives three shells, the lining's remnants only two linings: two garments."""
    pieces = [rectangle("shell", 300.0, 250.0), rectangle("lining", 280.0, 240.0, cloth="lining")]
    garments = [Garment("briefs", None, 3, ("shell", "lining"))]
    remnants = (
        scrap("m", 900.0, 250.0),
        scrap("l1", 280.0, 240.0, cloth="lining"),
        scrap("l2", 280.0, 240.0, cloth="lining"),
        scrap("l3", 2000.0, 230.0, cloth="lining"),
    )
    return order_of(pieces, garments, _cloths("main", "lining"), remnants=remnants), 2


def a_jigsaw_of_six() -> tuple[Order, int]:
    """Two garments of 200 × 150, 100 × 150 and 300 × 50 mm fill 600 × 200; the decoy is too narrow for any piece."""
    pieces = [rectangle("front", 200.0, 150.0), rectangle("back", 100.0, 150.0), rectangle("band", 300.0, 50.0)]
    garments = [Garment("briefs", None, 3, ("front", "back", "band"))]
    return order_of(pieces, garments, remnants=(scrap("a", 600.0, 200.0), scrap("decoy", 1000.0, 45.0))), 2


def nothing_at_all() -> tuple[Order, int]:
    """Area enough three times over, but the back is 220 mm wide and no remnant is."""
    pieces, garments = _briefs(2)
    return order_of(pieces, garments, remnants=(scrap("a", 900.0, 210.0), scrap("b", 1200.0, 215.0))), 0


CASES: tuple[Case, ...] = (
    one_garment_one_rectangle,
    two_rectangles_and_a_third_asked,
    pieces_spread_over_three,
    same_cloth_forbids_mixing,
    a_pair_split_over_two,
    two_trapezia_make_a_rectangle,
    two_sizes_compete,
    worth_more_than_many,
    a_flaw_takes_one_place,
    two_cloths_each_with_its_remnants,
    a_jigsaw_of_six,
    nothing_at_all,
)
