"""Random edges sewn to their own mirror images: equal where they are, and off by exactly what one is changed by."""

from __future__ import annotations

import math

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from nesting.model.piece import Edge, Notch, Piece, Point, Ring
from nesting.model.tolerances import SEAM_MM
from nesting.pieces.contour import Contour
from nesting.pieces.edges import numbered_corners
from nesting.pieces.prepare import prepare
from nesting.pieces.seams import walk_seam
from nesting.pieces.wishes import Preparation
from tests.pieces.outlines import EXAMPLES, drawn, outlines

RANDOM = settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))


def _stretch(ring: Ring, k: int) -> tuple[float, float]:
    """Where the k-th stretch from corner to corner begins, and its length."""
    corners = numbered_corners(drawn(ring))
    contour = Contour(ring)
    a, b = (contour.locate(corners[i % len(corners)])[0] for i in (k, k + 1))
    return a, contour.span(a, b)


def _sewn(
    ring: Ring, k: int, places: list[float], *, mirror: bool = False, turn: float = 0.0, size: float = 1.0
) -> Piece:
    """The ready piece with its k-th stretch called "sewn" and notches at these lengths along it (before ``size``)."""
    contour = Contour(ring)
    begin, length = _stretch(ring, k)
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))

    def put(p: Point) -> Point:
        x, y = size * (-p[0] if mirror else p[0]), size * p[1]
        return (c * x - s * y, s * x + c * y)

    ends = [put(contour.at((begin + d) % contour.perimeter)) for d in (0.0, length)]
    points = tuple(put(p) for p in ring)
    notches = tuple(Notch(put(contour.at((begin + d) % contour.perimeter)), 0.0) for d in places)
    edge = Edge("sewn", ends[1], ends[0]) if mirror else Edge("sewn", ends[0], ends[1])
    piece = Piece("p", points[::-1] if mirror else points, edges=(edge,), notches=notches)
    return prepare(piece, Preparation(grain=turn))[0]


@RANDOM
@given(
    ring=outlines(),
    which=st.integers(0, 8),
    tenths=st.sets(st.integers(1, 9), max_size=4),
    turn=st.integers(-180, 180),
    ratio=st.sampled_from([1.0, 0.85, 1.1]),
)
def test_an_edge_fits_its_mirror_image_however_it_is_turned(
    ring: Ring, which: int, tenths: set[int], turn: int, ratio: float
) -> None:
    """Lengths agree to a thousandth of a millimetre and every notch meets its partner; a piece drawn larger or smaller
    agrees by that ratio, and no other."""
    assume(Polygon(ring).is_valid and len(numbered_corners(drawn(ring))) >= 3)
    k = which % len(numbered_corners(drawn(ring)))
    _, length = _stretch(ring, k)
    assume(length > 20.0)
    places = [length * t / 10 for t in sorted(tenths)]
    first = _sewn(ring, k, places)
    other = _sewn(ring, k, places, mirror=True, turn=float(turn), size=ratio)
    pair = [(first, "sewn"), (other, "sewn")]
    walked = walk_seam(pair, ("a.sewn", "b.sewn"), ratio=ratio)
    assert walked.agrees and walked.messages() == ()
    assert walked.lengths == pytest.approx((length, ratio * length), abs=1e-3)
    assert len(walked.notches) == len(places) and not walked.lone
    assert all(abs(n.difference) < 1e-3 for n in walked.notches)
    plain = walk_seam(pair, ("a.sewn", "b.sewn"))
    assert plain.difference == pytest.approx((ratio - 1.0) * length, abs=1e-3)
    assert plain.lengths_agree == (abs(ratio - 1.0) * length <= SEAM_MM)
    eased = walk_seam(pair, ("a.sewn", "b.sewn"), ease=(ratio - 1.0) * length)
    assert eased.lengths_agree and abs(eased.difference) < 1e-3


@RANDOM
@given(ring=outlines(), which=st.integers(0, 8), off=st.integers(-200, 200), turn=st.integers(-180, 180))
def test_a_notch_moved_along_its_edge_is_off_by_exactly_that(ring: Ring, which: int, off: int, turn: int) -> None:
    """By tenths of a millimetre up to 2 cm, either way; beyond 1/16 in the seam does not agree."""
    assume(Polygon(ring).is_valid and len(numbered_corners(drawn(ring))) >= 3)
    k = which % len(numbered_corners(drawn(ring)))
    _, length = _stretch(ring, k)
    assume(length > 150.0)  # so that walked from the wrong end it has no partner
    moved = off / 10
    first = _sewn(ring, k, [0.3 * length])
    other = _sewn(ring, k, [0.3 * length + moved], mirror=True, turn=float(turn))
    walked = walk_seam([(first, "sewn"), (other, "sewn")], ("a.sewn", "b.sewn"))
    assert walked.lengths_agree and len(walked.notches) == 1
    assert abs(walked.notches[0].difference) == pytest.approx(abs(moved), abs=1e-3)
    assert walked.agrees == (abs(moved) <= SEAM_MM) == (walked.messages() == ())
