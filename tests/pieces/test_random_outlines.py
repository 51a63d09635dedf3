"""Random outlines, random finishes: a sound result on the side that the sign demands, or a refusal with its place."""

from __future__ import annotations

import re

import shapely
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st
from shapely.geometry import LinearRing, LineString, Polygon

from nesting.model.errors import PatternError
from nesting.model.piece import Ring
from nesting.pieces.contour import Contour
from nesting.pieces.edges import numbered_corners
from nesting.pieces.prepare import prepare
from nesting.pieces.wishes import Corner, Finish, Preparation
from tests.pieces.outlines import EXAMPLES, all_round, drawn, half_sines, offsets, outlines

RANDOM = settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
PLACE = re.compile(r"at \(-?[\d.]+, -?[\d.]+\) mm of the drawing")


def _apart(a: Polygon, b: Polygon) -> float:
    """Area that only one of them covers. On a grid: the plain overlay can fail where outlines nearly coincide."""
    return float(shapely.symmetric_difference(a, b, grid_size=1e-5).area)


def _both(ring: Ring, how: Preparation) -> tuple[Polygon, Polygon]:
    """Seam outline and cut outline of the ready piece, in one frame."""
    piece, _ = prepare(drawn(ring), how)
    assert piece.seam is not None
    return Polygon(piece.seam), Polygon(piece.outline)


@RANDOM
@given(ring=outlines(), d=offsets)
def test_one_finish_all_round_equals_the_mitred_buffer_of_the_reference_library(ring: Ring, d: float) -> None:
    """Where nothing collapses the cut outline is the seam outline's mitred buffer; a refusal has its reason."""
    base = Polygon(ring)
    assume(base.is_valid)
    want = base.buffer(d, join_style="mitre", mitre_limit=50.0)
    try:
        seam, cut = _both(ring, all_round(d, mitre_limit=50.0))
    except PatternError as error:
        assert PLACE.search(str(error)), error
        if isinstance(want, Polygon) and not want.is_empty and not want.interiors:
            # in one piece and without holes: then an edge has gone, or the outline has moved much farther than d
            lost = max(shapely.distance(want.exterior, shapely.points(p)) for p in ring)
            assert lost > 3.9 * abs(d) or _edge_gone(ring, want, d), error
        return
    assert cut.is_valid and not cut.interiors
    if d == 0.0:
        assert _apart(cut, seam) < 1e-3
        return
    assert isinstance(want, Polygon)
    # bowed edges are rounded by us and mitred point by point there: 0.02 mm along the whole outline
    assert _apart(cut, shapely.transform(want, lambda xy: xy - _middle(base, seam))) < 0.02 * want.length + 0.5


def _edge_gone(ring: Ring, want: Polygon, d: float) -> bool:
    """Whether the middle part of some edge from corner to corner has no image on the wanted outline."""
    contour = Contour(ring)
    places = [contour.locate(c)[0] for c in numbered_corners(drawn(ring))]
    for a, b in zip(places, places[1:] + places[:1], strict=True):
        middles = [contour.at((a + contour.span(a, b) * k / 40) % contour.perimeter) for k in range(1, 40)]
        if min(abs(shapely.distance(want.exterior, shapely.points(p)) - abs(d)) for p in middles) > 0.01:
            return True
    return False


def _middle(a: Polygon, b: Polygon):  # type: ignore[no-untyped-def]
    """The shift between the drawing and the grain frame (grain 0: no turn)."""
    return shapely.get_coordinates(a.centroid)[0] - shapely.get_coordinates(b.centroid)[0]


@RANDOM
@given(ring=outlines(), data=st.data())
def test_random_finishes_give_a_sound_outline_on_the_right_side_or_a_refusal_with_its_place(
    ring: Ring, data: st.DataObject
) -> None:
    """Each edge its own finish and corner; edge by edge the cut line lies on the side of its sign."""
    base = Polygon(ring)
    assume(base.is_valid)
    corners = numbered_corners(drawn(ring))
    n = len(corners)
    assume(n >= 3)
    names = [f"{i + 1}-{(i + 1) % n + 1}" for i in range(n)]
    kinds: list[Corner] = ["mitre", "mitre", "square", "mirror"]
    finishes = tuple((name, Finish("custom", data.draw(offsets), data.draw(st.sampled_from(kinds)))) for name in names)
    try:
        piece, _ = prepare(drawn(ring), Preparation(grain=0.0, finishes=finishes))
    except PatternError as error:
        assert PLACE.search(str(error)), error
        return
    assert piece.seam is not None
    seam, cut = Polygon(piece.seam), Polygon(piece.outline)
    assert cut.is_valid and not cut.interiors and cut.exterior.is_ccw
    signs = [f.offset for _, f in finishes]
    if min(signs) >= 0:
        assert seam.difference(cut.buffer(1e-4)).area < 1e-3
    if max(signs) <= 0:
        assert cut.difference(seam.buffer(1e-4)).area < 1e-3
    reach = max(abs(s) for s in signs)
    # no cut line is farther from the seam line than a mitre may reach, nor a seam line forgotten
    limit = 1.05 * 4 * reach + 0.2
    far = shapely.distance(seam.exterior, shapely.points(list(cut.exterior.coords))).max()
    sharp = 1 / min(half_sines(ring))
    assert far <= max(limit, 4.3 * reach) + reach * sharp
    assert {e.name for e in piece.edges} == set(names)


#: Beside the first corner the bends are slight: with sides a little shorter they could be those of a flattened curve.
SLIGHT_BENDS: Ring = (
    (155.0, 0.0),
    (24.939592074349342, 31.273259298721193),
    (-8.900837358252573, 38.99711648727295),
    (-36.03875471609676, 17.35534956470233),
    (-36.03875471609677, -17.35534956470232),
    (-8.900837358252584, -38.99711648727295),
    (24.939592074349335, -31.273259298721197),
)


@RANDOM
@given(ring=outlines(), d=st.sampled_from([4.0, 6.0, 10.0, 15.0]))
@example(ring=SLIGHT_BENDS, d=4.0)
def test_taking_the_allowance_off_a_cut_outline_and_adding_it_again_changes_nothing(ring: Ring, d: float) -> None:
    """From the cut outline to the seam outline and out again by the same allowance, straight edges."""
    assume(Polygon(ring).is_valid and len(ring) < 12)
    try:
        inner, _ = prepare(drawn(ring), Preparation(grain=0.0, allowance=(("*", d),)))
        again, _ = prepare(
            drawn(ring),
            Preparation(grain=0.0, allowance=(("*", d),), finishes=(("*", Finish("seam", d, mitre_limit=50.0)),)),
        )
    except PatternError as error:
        assert PLACE.search(str(error)), error
        return
    assert inner.outline == prepare(drawn(ring), Preparation(grain=0.0))[0].outline
    gone = _apart(Polygon(inner.outline), Polygon(again.outline))
    assert gone < 1e-3


@st.composite
def halves(draw: st.DrawFn) -> Ring:
    """Half outlines whose fold edge is the left side, x = 0; the rest zigzags to the right of it."""
    n = draw(st.integers(2, 6))
    ys = sorted(draw(st.lists(st.integers(0, 40), min_size=n, max_size=n, unique=True)))
    xs = [draw(st.integers(30, 250)) for _ in range(n)]
    top = 10.0 * ys[-1] + draw(st.integers(-20, 40))
    bottom = 10.0 * ys[0] + draw(st.integers(-40, 20))
    if top - bottom < 60.0:
        top = bottom + 60.0
    return ((0.0, bottom), *((float(x), 10.0 * y) for x, y in zip(xs, ys, strict=True)), (0.0, top))


def _opened(ring: Ring, x0: float) -> Polygon:
    """The half and its mirror image, put together on a grid."""
    mirrored = tuple((2 * x0 - x, y) for x, y in ring)
    return shapely.union(Polygon(ring), Polygon(mirrored), grid_size=1e-6)


@RANDOM
@given(ring=halves(), d=st.sampled_from([4.0, 6.0, 10.0, 20.0, -4.0, -9.0]))
def test_a_half_on_the_fold_opens_to_the_mitred_buffer_of_the_opened_half(ring: Ring, d: float) -> None:
    """The fold edge stays on its line to the last bit, and the whole is offset as a whole would be."""
    assume(Polygon(ring).is_valid and len(numbered_corners(drawn(ring))) >= 3)
    finish = Finish("custom", d, mitre_limit=50.0)
    plain, _ = prepare(drawn(ring), Preparation(grain=0.0, fold="left"))
    names = [e.name for e in plain.edges if e.name != "fold"]
    try:
        piece, _ = prepare(
            drawn(ring), Preparation(grain=0.0, fold="left", finishes=tuple((name, finish) for name in names))
        )
    except PatternError as error:
        assert PLACE.search(str(error)), error
        return
    assert piece.fold is not None and piece.seam is not None
    x0 = piece.fold[0][0]
    assert piece.fold[1][0] == x0
    assert all(x >= x0 for x, _ in piece.outline)
    want = _opened(piece.seam, x0).buffer(d, join_style="mitre", mitre_limit=50.0)
    assert _apart(_opened(piece.outline, x0), want) < 0.01 * want.length + 0.5


def test_the_distance_check_can_fail() -> None:
    """The reference measures what it should: a shape moved by 1 mm is told apart."""
    line = LineString([(0, 0), (10, 0)])
    assert shapely.distance(LinearRing([(0, 1), (10, 1), (5, 9)]), line) == 1.0
