"""Good lays of every spread are accepted; each way of spoiling one is caught, and told as what it is."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from shapely import box
from shapely.affinity import scale, translate

from nesting.cloth.spreads import make_spread
from nesting.model.errors import ProofError
from nesting.model.lay import FoldLine, Lay, Placement
from nesting.model.order import Order, Remnant
from nesting.proof import FailureKind, prove, require
from nesting.proof.unfold import ClothPiece, cut_through

from .build import (
    BAND,
    BRIEF,
    LEG,
    PIECES,
    TAB,
    cut,
    finished,
    lay_of,
    moved,
    order_of,
    put,
    rectangle,
    with_placements,
)
from .good import ALL, Case, lengthwise, open_lay

Spoil = Callable[[Lay], Lay]


@pytest.fixture(params=sorted(ALL))
def case(request: pytest.FixtureRequest) -> Case:
    """An order and a sound lay of it."""
    return ALL[request.param]()


def kinds(case: Case, spoil: Spoil) -> set[FailureKind]:
    """What the proof finds in the spoiled lay; the lay itself must be sound."""
    order, lay = case
    assert prove(lay, order).failures == ()
    return {failure.kind for failure in prove(spoil(lay), order).failures}


def first(lay: Lay, name: str) -> int:
    """The first placement of a piece in the first section that has one."""
    return next(i for i, p in enumerate(lay.sections[0].placements) if p.piece == name)


def change(number: int, how: Callable[[Placement], Placement | None]) -> Spoil:
    """Change one placement of the first section."""
    return lambda lay: with_placements(lay, {number: how(lay.sections[0].placements[number])})


def again(p: Placement, **other: object) -> Placement:
    """The placement drawn anew with another place, turn, side or plies."""
    given = {
        "x": p.x,
        "y": p.y,
        "turn": p.turn,
        "flipped": p.flipped,
        "plies": p.plies,
        "on_fold": p.on_fold,
        "opened": p.opened,
        "copies": p.copies,
        "copy": p.copy,
        **other,
    }
    x, y, turn = (given.pop(key) for key in ("x", "y", "turn"))
    return put(PIECES[p.piece], x, y, turn, **given)  # type: ignore[arg-type]


def test_good_lay(case: Case) -> None:
    """A sound lay has no failure, and the figures are those it states."""
    order, lay = case
    verdict = prove(lay, order)
    assert verdict.failures == ()
    assert verdict.ok
    assert verdict.lay_length == pytest.approx(lay.lay_length)
    assert verdict.buy_length == pytest.approx(lay.buy_length)
    assert verdict.utilisation == pytest.approx(lay.utilisation, abs=1e-9)
    assert require(lay, order) == verdict


def test_yielded_pieces() -> None:
    """The cloth pieces of each sound lay, counted by hand."""
    by_hand = {
        "open": 4,  # two legs, a brief, a tab
        "lengthwise fold": 5,  # a brief over the fold, two legs at once, a tab, a band
        "partial fold": 4,
        "double fold": 6,
        "crosswise fold": 4,
        "stacked face up": 9,  # three of each placement
        "stacked face to face": 6,
        "tubular": 4,
        "sections": 3,
        "leftover": 3,
    }
    cases = {name: make() for name, make in ALL.items()}
    assert {name: prove(lay, order).cloth_pieces for name, (order, lay) in cases.items()} == by_hand


def test_dropped(case: Case) -> None:
    """A piece left out."""
    assert "count" in kinds(case, change(0, lambda p: None))


def test_duplicated(case: Case) -> None:
    """The same placement twice: one too many, on the same cloth."""

    def spoil(lay: Lay) -> Lay:
        section = lay.sections[0]
        doubled = replace(section, placements=(*section.placements, section.placements[0]))
        return replace(lay, sections=(doubled, *lay.sections[1:]))

    assert {"count", "overlap"} <= kinds(case, spoil)


def test_moved_onto_another(case: Case) -> None:
    """A piece moved into its neighbour, drawn where it lies."""
    lay = case[1]
    if len(lay.sections[0].placements) < 2:
        pytest.skip("nothing to move it onto")
    a, b = lay.sections[0].placements[:2]
    assert "overlap" in kinds(case, change(1, lambda p: moved(p, a.x - b.x, (a.y - b.y) * 0.8)))


def test_moved_off_the_cloth(case: Case) -> None:
    """A piece that reaches beyond the cut end by 0.1 mm."""
    lay = case[1]
    p = lay.sections[0].placements[0]
    left = min(x for x, _ in p.outline)
    assert "cloth" in kinds(case, change(0, lambda q: moved(q, -left - 0.1, 0.0)))


def test_number_changed_but_not_the_outline(case: Case) -> None:
    """x edited by hand, the outline left as it was."""
    assert "shape" in kinds(case, change(0, lambda p: replace(p, x=p.x + 0.05)))


def test_shrunk(case: Case) -> None:
    """A piece 0.2 % too small (some 0.2 mm)."""

    def smaller(p: Placement) -> Placement:
        return replace(
            p,
            laid=replace(
                p.laid, outline=tuple((p.x + 0.998 * (x - p.x), p.y + 0.998 * (y - p.y)) for x, y in p.outline)
            ),
        )

    assert kinds(case, change(0, smaller)) >= {"shape"}


def test_corner_cut_off(case: Case) -> None:
    """A corner missing from the outline."""
    assert "shape" in kinds(case, change(0, lambda p: replace(p, laid=replace(p.laid, outline=p.outline[1:]))))


@pytest.mark.parametrize("outline", [(), ((0.0, 0.0), (1.0, 1.0)), ((0.0, 0.0), (math.nan, 1.0), (1.0, 0.0))])
def test_no_outline(case: Case, outline: tuple[tuple[float, float], ...]) -> None:
    """An outline that is missing, or holds something that is not a number; it is told and nothing breaks."""
    assert kinds(case, change(0, lambda p: replace(p, laid=replace(p.laid, outline=outline)))) == {"shape"}


def test_what_is_drawn_is_what_is_cut() -> None:
    """Two bands that touch; one is drawn 0.008 mm over the other, which its shape may be off, but then they overlap."""
    piece = rectangle("band", 200, 100)
    order = order_of(cut(piece, cut=2))
    a, b = put(piece, 100, 100), put(piece, 100, 200)
    lay = lay_of(order, "open", [a, b])
    assert prove(lay, order).failures == ()
    over = replace(b, laid=replace(b.laid, outline=tuple((x, y - 0.008) for x, y in b.outline)))
    assert {f.kind for f in prove(with_placements(lay, {1: over}), order).failures} == {"overlap"}
    apart = replace(b, laid=replace(b.laid, outline=tuple((x, y + 0.008) for x, y in b.outline)))
    assert prove(with_placements(lay, {1: apart}), order).failures == ()


def test_outline_that_crosses_itself_within_tolerance() -> None:
    """A knot of 0.005 mm, as rounding may leave: still the piece, and nothing breaks."""
    piece = rectangle("band", 200, 100)
    order = order_of(cut(piece, cut=2))
    a, b = put(piece, 100, 100), put(piece, 100, 200)
    (x, y), *rest = b.outline
    knot = ((x, y), (x + 50, y + 0.004), (x + 49.995, y - 0.004), (x + 50, y - 0.004), (x + 49.995, y + 0.004))
    lay = lay_of(order, "open", [a, replace(b, laid=replace(b.laid, outline=(*knot, *rest)))])
    assert prove(lay, order).failures == ()


def test_marks_that_are_not_numbers(case: Case) -> None:
    """The same for marks and lines."""
    number = next(i for i, p in enumerate(case[1].sections[0].placements) if p.notches)
    bad = (math.nan, math.inf)

    def spoil(p: Placement) -> Placement:
        return replace(
            p,
            laid=replace(
                p.laid, notches=(replace(p.notches[0], at=bad), *p.notches[1:]), inside=((bad, bad),), seam=(bad, bad)
            ),
        )

    assert kinds(case, change(number, spoil)) == {"mark"}


def test_outline_that_doubles_back(case: Case) -> None:
    """All corners are there, but the outline runs to and fro and covers nothing."""
    assert "shape" in kinds(
        case, change(0, lambda p: replace(p, laid=replace(p.laid, outline=p.outline + p.outline[-2:0:-1])))
    )


def test_quarter_turn(case: Case) -> None:
    """Turned by 90° on cloth whose stretch was never measured."""
    assert "turn" in kinds(case, change(0, lambda p: again(p, turn=p.turn + 90.0)))


def test_tilted(case: Case) -> None:
    """Tilted by half a degree without leave."""
    assert "turn" in kinds(case, change(0, lambda p: again(p, turn=p.turn + 0.5)))


def test_other_gives(case: Case) -> None:
    """The number of cloth pieces misstated."""
    assert "count" in kinds(case, change(0, lambda p: replace(p, gives=p.gives + 1)))


@pytest.mark.parametrize("plies", [(7,), (), (0, 0)])
def test_ply_that_is_not_there(case: Case, plies: tuple[int, ...]) -> None:
    """A ply that does not exist, none at all, or one twice."""
    assert "ply" in kinds(case, change(0, lambda p: replace(p, plies=plies)))


def test_not_a_number(case: Case) -> None:
    """x is not a number."""
    assert "value" in kinds(case, change(0, lambda p: replace(p, x=math.nan)))


def test_unknown_piece(case: Case) -> None:
    """A piece the order does not have."""
    assert "order" in kinds(case, change(0, lambda p: replace(p, piece="sleeve")))


def test_unknown_garment(case: Case) -> None:
    """A garment the order does not have."""
    assert "count" in kinds(case, change(0, lambda p: replace(p, garment="coat")))


def test_other_copy(case: Case) -> None:
    """A piece labelled for a garment that is not made."""
    assert "copy" in kinds(case, change(0, lambda p: replace(p, copy=9, copies=tuple(9 for _ in p.copies))))


def test_lost_notch(case: Case) -> None:
    """The last notch of a piece lost."""
    number = next(i for i, p in enumerate(case[1].sections[0].placements) if p.notches)
    assert kinds(case, change(number, lambda p: replace(p, laid=replace(p.laid, notches=p.notches[:-1])))) == {"mark"}


@pytest.mark.parametrize(
    "other",
    [
        {"direction": 17.0},
        {"kind": "castle"},
        {"depth": 9.0},
        {"name": "hem"},
        {"at": (12.0, 12.0)},
    ],
)
def test_changed_notch(case: Case, other: dict[str, object]) -> None:
    """A notch that points elsewhere, is of another kind, depth, name or place."""
    number = next(i for i, p in enumerate(case[1].sections[0].placements) if p.notches)

    def spoil(p: Placement) -> Placement:
        return replace(p, laid=replace(p.laid, notches=(replace(p.notches[0], **other), *p.notches[1:])))  # type: ignore[arg-type]

    assert kinds(case, change(number, spoil)) == {"mark"}


def test_notch_added(case: Case) -> None:
    """A notch too many."""
    number = next(i for i, p in enumerate(case[1].sections[0].placements) if p.notches)

    def spoil(p: Placement) -> Placement:
        return replace(p, laid=replace(p.laid, notches=(*p.notches, replace(p.notches[0], at=p.outline[1]))))

    assert kinds(case, change(number, spoil)) == {"mark"}


def test_moved_drill(case: Case) -> None:
    """A drill mark 0.05 mm off."""
    number = next((i for i, p in enumerate(case[1].sections[0].placements) if p.drills), None)
    if number is None:
        pytest.skip("no piece has a drill mark")

    def spoil(p: Placement) -> Placement:
        drill = p.drills[0]
        return replace(
            p, laid=replace(p.laid, drills=(replace(drill, at=(drill.at[0] + 0.05, drill.at[1])), *p.drills[1:]))
        )

    assert kinds(case, change(number, spoil)) == {"mark"}


@pytest.mark.parametrize("lost", ["inside", "cutouts", "seam", "fold", "drills", "notches"])
def test_lost_marks(case: Case, lost: str) -> None:
    """Everything of one sort lost."""
    number = next((i for i, p in enumerate(case[1].sections[0].placements) if getattr(p, lost)), None)
    if number is None:
        pytest.skip(f"no piece has {lost}")
    nothing = None if lost in ("seam", "fold") else ()
    assert kinds(case, change(number, lambda p: replace(p, laid=replace(p.laid, **{lost: nothing})))) == {"mark"}  # type: ignore[arg-type]


@pytest.mark.parametrize("what", ["inside", "cutouts", "seam"])
def test_moved_lines(case: Case, what: str) -> None:
    """An inside line, a cutout or the seam outline with one point 0.05 mm off."""
    number = next((i for i, p in enumerate(case[1].sections[0].placements) if getattr(p, what)), None)
    if number is None:
        pytest.skip(f"no piece has {what}")

    def spoil(p: Placement) -> Placement:
        lines = getattr(p, what) if what != "seam" else (p.seam,)
        (x, y), *rest = lines[0]
        line = ((x + 0.05, y), *rest)
        value = line if what == "seam" else (line, *lines[1:])
        return replace(p, laid=replace(p.laid, **{what: value}))  # type: ignore[arg-type]

    assert kinds(case, change(number, spoil)) == {"mark"}


def test_moved_grainline(case: Case) -> None:
    """The grainline drawn 0.05 mm beside its place."""

    def spoil(p: Placement) -> Placement:
        (a, b), (c, d) = p.grainline
        return replace(p, laid=replace(p.laid, grainline=((a, b + 0.05), (c, d + 0.05))))

    assert kinds(case, change(0, spoil)) == {"mark"}


def test_grainline_turned_round(case: Case) -> None:
    """The arrow at the wrong end."""
    assert kinds(case, change(0, lambda p: replace(p, laid=replace(p.laid, grainline=p.grainline[::-1])))) == {"mark"}


def test_swapped_names(case: Case) -> None:
    """Two different pieces with each other's name."""
    placements = case[1].sections[0].placements
    pair = next(((i, j) for i, p in enumerate(placements) for j in range(i) if p.piece != placements[j].piece), None)
    if pair is None:
        pytest.skip("one piece only")
    i, j = pair

    def spoil(lay: Lay) -> Lay:
        a, b = placements[i], placements[j]
        return with_placements(lay, {i: replace(a, piece=b.piece), j: replace(b, piece=a.piece)})

    assert {"shape", "fold"} & kinds(case, spoil)


@pytest.mark.parametrize("by", [5.0, 0.01, -0.01, -5.0])
def test_lay_length(case: Case, by: float) -> None:
    """The lay length stated too long or too short, everything else in keeping with it."""
    if case[1].sections[-1].spread.kind == "crosswise fold" and by == 0.01:
        pytest.skip("the fold may lie a little beyond the last piece")

    def spoil(lay: Lay) -> Lay:
        last = lay.sections[-1]
        other = replace(last, lay_length=last.lay_length + by, spread=replace(last.spread, length=last.lay_length + by))
        return replace(lay, lay_length=lay.lay_length + by, sections=(*lay.sections[:-1], other))

    assert "length" in kinds(case, spoil)


def test_total_length(case: Case) -> None:
    """The total that does not follow from the sections, and a spread longer than its lay."""
    assert "length" in kinds(case, lambda lay: replace(lay, lay_length=lay.lay_length + 1.0))

    def late(lay: Lay) -> Lay:
        sections = tuple(replace(s, start=s.start + 5.0) for s in lay.sections)
        return replace(lay, sections=sections, lay_length=lay.lay_length + 5.0)

    assert "length" in kinds(case, late)

    def spoil(lay: Lay) -> Lay:
        section = lay.sections[0]
        other = replace(section, spread=replace(section.spread, length=section.spread.length + 1.0))
        return replace(lay, sections=(other, *lay.sections[1:]))

    assert kinds(case, spoil) == {"length"}


@pytest.mark.parametrize("by", [-100.0, -0.5, 0.5, 100.0])
def test_buy_length(case: Case, by: float) -> None:
    """A length to buy that was rounded down, or is padded."""
    assert "buy" in kinds(case, lambda lay: replace(lay, buy_length=lay.buy_length + by))


def test_utilisation_and_bound(case: Case) -> None:
    """Utilisation stated 0.001 too high; a lower bound above the lay; figures that are not numbers."""
    assert kinds(case, lambda lay: replace(lay, utilisation=lay.utilisation + 0.001)) == {"utilisation"}
    assert kinds(case, lambda lay: replace(lay, utilisation=math.nan)) == {"utilisation"}
    assert kinds(case, lambda lay: replace(lay, lower_bound=lay.lay_length + 1.0)) == {"bound"}
    assert kinds(case, lambda lay: replace(lay, lower_bound=math.nan)) == {"bound"}


def test_garments(case: Case) -> None:
    """Garments missing, miscounted, or with a wrong share of the length."""

    def other(**fields: object) -> Spoil:
        return lambda lay: replace(lay, garments=(replace(lay.garments[0], **fields), *lay.garments[1:]))  # type: ignore[arg-type]

    count = case[1].garments[0].count
    assert "garments" in kinds(case, other(count=count + 1))
    assert "garments" in kinds(case, other(name="coat"))
    assert kinds(case, other(length_each=case[1].garments[0].length_each - 1.0)) == {"garments"}
    # a leftover is held to the garments it lists, so there everything is then one too many
    assert {"garments", "count"} & kinds(case, lambda lay: replace(lay, garments=()))


def test_wrong_face(case: Case) -> None:
    """A ply stated to lie the other way up."""

    def spoil(lay: Lay) -> Lay:
        section = lay.sections[0]
        last = section.spread.plies[-1]
        turned = replace(last, face="down" if last.face == "up" else "up")
        spread = replace(section.spread, plies=(*section.spread.plies[:-1], turned))
        return replace(lay, sections=(replace(section, spread=spread), *lay.sections[1:]))

    assert kinds(case, spoil) == {"spread"}


def test_wrong_region(case: Case) -> None:
    """A ply stated to reach 1 mm farther than the cloth does, a flaw forgotten, a table too wide, a ply too many."""

    def other(lay: Lay, **fields: object) -> Lay:
        section = lay.sections[0]
        spread = replace(section.spread, **fields)  # type: ignore[arg-type]
        return replace(lay, sections=(replace(section, spread=spread), *lay.sections[1:]))

    def wider(lay: Lay) -> Lay:
        plies = lay.sections[0].spread.plies
        high = max(y for _, y in plies[-1].region)
        region = tuple((x, y + 1.0 if y == high else y) for x, y in plies[-1].region)
        return other(lay, plies=(*plies[:-1], replace(plies[-1], region=region)))

    def flawed(lay: Lay) -> Lay:
        plies = lay.sections[0].spread.plies
        flaws = () if plies[0].flaws else (((0.0, 0.0), (5.0, 0.0), (5.0, 5.0)),)
        return other(lay, plies=(replace(plies[0], flaws=flaws), *plies[1:]))

    assert kinds(case, wider) == {"spread"}
    assert kinds(case, flawed) == {"spread"}
    assert kinds(case, lambda lay: other(lay, table_width=lay.sections[0].spread.table_width + 1.0)) == {"spread"}
    assert "spread" in kinds(case, lambda lay: other(lay, plies=lay.sections[0].spread.plies[:-1]))
    assert kinds(case, lambda lay: other(lay, layers=lay.sections[0].spread.layers + 1)) == {"spread"}
    assert kinds(case, lambda lay: other(lay, folds=(FoldLine("x", 77.0, (0, 1)),))) == {"spread"}


@pytest.mark.parametrize("name", ["open", "lengthwise fold", "double fold", "crosswise fold", "tubular"])
def test_ply_that_runs_the_other_way(name: str) -> None:
    """The lengthwise direction of a ply misstated: only the top of a crosswise fold is reversed."""

    def spoil(lay: Lay) -> Lay:
        section = lay.sections[0]
        *others, last = section.spread.plies
        spread = replace(section.spread, plies=(*others, replace(last, reversed=not last.reversed)))
        return replace(lay, sections=(replace(section, spread=spread),))

    assert kinds(ALL[name](), spoil) == {"spread"}


def test_cloth_figures(case: Case) -> None:
    """The cloth's own figures misstated."""
    for name in ("width_washed", "usable_width", "selvage", "gap", "end_allowance", "repeat_along", "repeat_across"):
        assert kinds(case, lambda lay, name=name: replace(lay, **{name: getattr(lay, name) + 1.0})) == {"value"}, name


def test_width(case: Case) -> None:
    """The width misstated: as bought, or that of a leftover."""
    assert kinds(case, lambda lay: replace(lay, width=lay.width + 1.0)) == {"value"}


def test_words_about_the_length_to_buy() -> None:
    """Too short is said to be too short."""
    order, lay = open_lay()
    said = [str(f) for f in prove(replace(lay, buy_length=300.0), order).failures if f.kind == "buy"]
    assert said == [
        "the length to buy is too short: the lay takes 340.00 mm, rounded up 400.00 mm, the lay says 300.00 mm"
    ]
    said = [str(f) for f in prove(replace(lay, buy_length=500.0), order).failures if f.kind == "buy"]
    assert said[0].startswith("the length to buy is wrong")


def test_other_cloth(case: Case) -> None:
    """A cloth or leftover that the order does not have."""
    assert kinds(case, lambda lay: replace(lay, cloth="velvet")) == {"order"}
    assert kinds(case, lambda lay: replace(lay, remnant="scrap-9")) == {"order"}


@pytest.mark.parametrize("name", ["open", "partial fold", "double fold", "stacked face up", "leftover"])
def test_flipped_single(name: str) -> None:
    """One leg of a pair flipped: two of one hand."""
    case = ALL[name]()
    number = first(case[1], "leg")
    assert "hand" in kinds(case, change(number, lambda p: again(p, flipped=not p.flipped)))


@pytest.mark.parametrize("name", ["open", "lengthwise fold", "partial fold", "crosswise fold", "stacked face to face"])
def test_flipped_tab(name: str) -> None:
    """A one-sided single piece printed side the wrong way for its ply."""
    case = ALL[name]()
    number = first(case[1], "tab")
    assert "hand" in kinds(case, change(number, lambda p: again(p, flipped=not p.flipped)))


@pytest.mark.parametrize("name", ["partial fold", "crosswise fold", "stacked face to face"])
def test_wrong_ply(name: str) -> None:
    """A single piece moved to a ply that faces the other way."""
    case = ALL[name]()
    number = next(i for i, p in enumerate(case[1].sections[0].placements) if p.piece == "tab")
    p = case[1].sections[0].placements[number]
    other = (1,) if p.plies == (0,) else (0,)
    assert "hand" in kinds(case, change(number, lambda q: replace(q, plies=other)))


def test_any_other_plies(case: Case) -> None:
    """Every placement moved to any other ply, or cut through fewer or more plies, is caught: it comes out with the
    other hand, in the wrong number, off its fold, on a neighbour or where there is no cloth. On stacks plies that face
    the same way may take each other's place."""
    order, lay = case
    section = lay.sections[0]
    there = [ply.ply for ply in section.spread.plies]
    faces = {ply.ply: ply.face for ply in section.spread.plies}
    for i, p in enumerate(section.placements):
        for count in range(1, len(there) + 1):
            for plies in itertools.combinations(there, count):
                alike = sorted(faces[n] for n in plies) == sorted(faces[n] for n in p.plies)
                if plies == p.plies or (alike and section.spread.kind.startswith("stacked")):
                    continue
                bad = with_placements(lay, {i: replace(p, plies=plies, gives=1 if p.on_fold else len(plies))})
                caught = {f.kind for f in prove(bad, order).failures}
                assert caught & {"hand", "count", "fold", "overlap", "cloth"}, (p.piece, plies)


def test_ply_below_is_free() -> None:
    """What lies under a single piece of the top ply is another piece; on one ply they are in each other's way."""
    case = lengthwise()
    number = first(case[1], "band")
    assert "overlap" in kinds(case, change(number, lambda p: replace(p, plies=(1,))))


def test_pair_from_one_face() -> None:
    """A pair cut through one ply only: one leg is missing."""
    case = lengthwise()
    assert "count" in kinds(case, change(first(case[1], "leg"), lambda p: replace(p, plies=(0,), gives=1)))


@pytest.mark.parametrize(
    "name,dx,dy",
    [
        ("lengthwise fold", 0.0, 1.0),
        ("lengthwise fold", 0.0, 0.02),
        ("lengthwise fold", 0.0, -0.02),
        ("partial fold", 0.0, 0.02),
        ("double fold", 0.0, 0.02),
        ("crosswise fold", -0.02, 0.0),
        ("tubular", 0.0, 0.02),
        ("sections", 0.0, 0.02),
    ],
)
def test_fold_edge_off_the_fold(name: str, dx: float, dy: float) -> None:
    """A half beside its fold gives two halves, not one piece."""
    case = ALL[name]()
    number = next(i for i, p in enumerate(case[1].sections[0].placements) if p.on_fold)
    assert {"fold", "count"} <= kinds(case, change(number, lambda p: moved(p, dx, dy)))


@pytest.mark.parametrize("dy", [0.0099, 0.005, -0.0009])
def test_fold_edge_within_tolerance(dy: float) -> None:
    """A hundredth of a millimetre is no failure."""
    order, lay = lengthwise()
    assert prove(with_placements(lay, {0: moved(lay.placements[0], 0.0, dy)}), order).failures == ()


@pytest.mark.parametrize("name", sorted(set(ALL) - {"leftover", "stacked face to face"}))
def test_unmirrored_half(name: str) -> None:
    """Half a piece, neither on a fold nor opened out."""
    case = ALL[name]()
    number = next(i for i, p in enumerate(case[1].sections[0].placements) if p.on_fold or p.opened)
    assert "fold" in kinds(case, change(number, lambda p: again(p, on_fold=False, opened=False)))


def test_on_a_fold_that_joins_other_plies() -> None:
    """On the fold at y = 0, but through the plies of the other fold."""
    case = ALL["double fold"]()
    assert "fold" in kinds(case, change(0, lambda p: replace(p, plies=(0, 2))))


def test_on_fold_beyond_the_fold() -> None:
    """The fold edge on the fold, but the piece on the side where there is no cloth."""
    case = lengthwise()
    assert "cloth" in kinds(case, change(0, lambda p: again(p, y=-30.0, flipped=True)))


def test_whole_piece_on_a_fold() -> None:
    """A piece without a fold edge said to lie on a fold, or to be opened out."""
    case = lengthwise()
    number = first(case[1], "leg")
    assert "fold" in kinds(case, change(number, lambda p: replace(p, on_fold=True)))
    assert "fold" in kinds(case, change(number, lambda p: replace(p, opened=True)))


def test_opened_out_against_the_order() -> None:
    """unfold = false: the half may only lie on a fold."""
    order, lay = open_lay()
    pieces = tuple(replace(c, unfold=False) if c.name == "brief" else c for c in order.pieces)
    assert {f.kind for f in prove(lay, replace(order, pieces=pieces)).failures} == {"fold"}


def test_opened_marks_of_one_half_only() -> None:
    """An opened-out piece needs the marks of both halves."""
    case = open_lay()
    number = first(case[1], "brief")
    half = put(BRIEF, 100, 530)
    for lost in ("notches", "drills", "inside"):
        spoil = change(number, lambda p, lost=lost: replace(p, laid=replace(p.laid, **{lost: getattr(half, lost)})))
        assert kinds(case, spoil) == {"mark"}, lost


@pytest.mark.parametrize(
    "name,index,dx,dy",
    [
        ("open", 3, 0.0, -17.0),  # the tab 3 mm from the brief
        ("lengthwise fold", 1, 0.0, -9.0),  # the leg 4 mm from the brief on the fold
        ("sections", 0, 0.0, 0.0),
    ],
)
def test_gap(name: str, index: int, dx: float, dy: float) -> None:
    """Nearer than the gap, though not overlapping."""
    case = ALL[name]()
    if name == "sections":
        # refolded at once after the first section, without the gap between what is cut there and here
        def spoil(lay: Lay) -> Lay:
            a, b = lay.sections
            return replace(lay, sections=(a, replace(b, start=202.0)), lay_length=502.0)

        found = kinds(case, spoil)
        assert "gap" in found and "overlap" not in found
    else:
        found = kinds(case, change(index, lambda p: moved(p, dx, dy)))
        assert found == {"gap"}


def test_sections_one_after_the_other() -> None:
    """A section cannot begin before the one in front of it ends, even where the pieces would leave room."""
    order, lay = ALL["sections"]()
    a, b = lay.sections
    early = finished(order, (a, replace(b, start=195.0, placements=tuple(moved(p, 20.0, 0.0) for p in b.placements))))
    longer = _with_length(order, early, 320.0)
    assert {f.kind for f in prove(longer, order).failures} == {"spread"}


def _with_length(order: Order, lay: Lay, length: float) -> Lay:
    last = lay.sections[-1]
    spread = make_spread(last.spread.kind, order.cloths[0], length)
    return finished(order, (*lay.sections[:-1], replace(last, spread=spread, lay_length=length)))


def test_half_gap_from_a_fold() -> None:
    """A piece that is not on the fold keeps half the gap from it; opened out, its twin is then a gap away."""
    order, lay = lengthwise()
    band = first(lay, "band")

    def with_band(y: float) -> Lay:
        other = with_placements(lay, {band: put(BAND, 330, y, plies=(0,))})
        return lay_of(order, "lengthwise fold", other.placements)

    assert prove(with_band(22.5), order).failures == ()
    assert {f.kind for f in prove(with_band(22.0), order).failures} == {"gap"}
    # traced with an error of 1.5 mm, its edge may lie that much nearer
    band_cut = replace(cut(BAND), piece=replace(BAND, error=1.5))
    order = replace(order, pieces=tuple(band_cut if c.name == BAND.name else c for c in order.pieces))
    assert prove(with_band(24.0), order).failures == ()
    (failure,) = prove(with_band(23.9), order).failures
    assert failure.kind == "gap" and "the error of its outline is 4 mm" in str(failure)
    assert {f.kind for f in prove(with_band(21.4), order, gap=0.0).failures} == {"gap"}


def test_reduced_gap() -> None:
    """A lay rebuilt from rounded figures is judged with a smaller gap, which then replaces the cloth's own."""
    order, lay = open_lay()
    near = with_placements(lay, {3: moved(lay.placements[3], 0.0, -17.0)})
    assert {f.kind for f in prove(near, order).failures} == {"gap"}
    # The nearest corner is 3 mm above an edge that falls by 20 mm in 140 mm: 3 · cos(atan(1/7)) = 2.970 mm away.
    assert prove(near, order, gap=2.96).ok
    assert {f.kind for f in prove(near, order, gap=2.98).failures} == {"gap"}


@pytest.mark.parametrize(
    "beyond,wrong", [(0.0, {"gap"}), (2.9, {"gap"}), (3.0, set()), (3.09, set()), (3.11, {"length"}), (-1.0, {"cloth"})]
)
def test_crosswise_fold_beyond_the_last_piece(beyond: float, wrong: set[FailureKind]) -> None:
    """A crosswise fold lies half the gap (of 6 mm) beyond the farthest piece that is not on it, and hardly more."""
    for error in (0.0, 1.0):
        # what was traced lies its error farther from the fold
        order = order_of(replace(cut(LEG), piece=replace(LEG, error=error)), gap=6.0)
        length = 300.0 + beyond + error
        lay = lay_of(order, "crosswise fold", [put(LEG, 150, 100, plies=(0, 1))], length=length)
        caught = {f.kind for f in prove(lay, order).failures}
        if error and beyond < 0.0:
            wrong = {"gap"}  # still on the cloth
        assert caught >= wrong if wrong else caught == set()


def test_round_the_tube() -> None:
    """In a tube the cloth goes on over both folds: a piece on either ply meets the half that lies on the far fold."""
    order, _ = ALL["tubular"]()
    tab = cut(TAB)
    order = replace(order, pieces=(*order.pieces, tab), garments=(replace(order.garments[0], pieces=("brief", "tab")),))
    halves = [
        put(BRIEF, 100, 30, plies=(0, 1), on_fold=True),
        put(BRIEF, 100, 570, plies=(0, 1), on_fold=True, flipped=True),
    ]

    def tab_at(x: float, y: float, ply: int, gap: float = 0.0) -> set[FailureKind]:
        lay = lay_of(order, "tubular", [*halves, put(TAB, x, y, plies=(ply,), flipped=ply == 1)])
        return {f.kind for f in prove(lay, order, gap=gap).failures}

    for ply in (0, 1):
        assert tab_at(100, 300, ply) == set()
        assert tab_at(100, 540, ply) == {"overlap"}
        assert tab_at(100, 60, ply) == {"overlap"}
        # the far half ends at x = 200, slanting to 198 beside the tab, which begins at 203
        assert tab_at(253, 560, ply) == set()
        assert tab_at(253, 560, ply, gap=4.0) == set()
        assert tab_at(253, 560, ply, gap=8.0) == {"gap"}


def test_refused_spreads() -> None:
    """Cloth that cannot lie as the lay has it: nap on a crosswise fold, flaps too deep, a tube of flat cloth."""

    def spread_failures(name: str, **cloth: object) -> set[FailureKind]:
        order, lay = ALL[name]()
        other = replace(order, cloths=(replace(order.cloths[0], **cloth),))  # type: ignore[arg-type]
        return {f.kind for f in prove(lay, other).failures}

    assert "spread" in spread_failures("crosswise fold", nap="one way")
    assert "spread" in spread_failures("crosswise fold", nap="by garment")
    assert "spread" in spread_failures("stacked face to face", nap="one way")
    assert "spread" not in spread_failures("stacked face to face", nap="one way", may_turn_plies=True)
    assert "spread" in spread_failures("stacked face up", max_plies=2)
    assert "spread" in spread_failures("stacked face up", plies=4)
    assert "spread" in spread_failures("tubular", tubular=False)
    assert "spread" in spread_failures("open", tubular=True)
    # a cutter that takes one ply takes no fold
    for name in ("lengthwise fold", "partial fold", "double fold", "crosswise fold", "tubular"):
        assert "spread" in spread_failures(name, max_plies=1) and "spread" not in spread_failures(name, max_plies=2)
    assert "spread" not in spread_failures("open", max_plies=1)
    assert "spread" in spread_failures("double fold", width=690.0)  # flaps of 150 and 200 mm take more than half


def test_over_a_flaw_or_a_slanted_edge() -> None:
    """On a leftover: over its hole, and over its slanted end, both within its box."""
    case = ALL["leftover"]()
    lay = case[1]
    tab = first(lay, "tab")
    assert kinds(case, change(tab, lambda p: moved(p, -60.0, -100.0))) == {"cloth", "length"}
    # the slanted edge runs from (700, 0) to (600, 500): at y = 410 the cloth ends at x = 618
    right = put(TAB, 567.9, 400.0)
    assert prove(lay_of(case[0], "open", [*lay.placements[:2], right], remnant=case[0].remnants[0]), case[0]).ok
    beyond = put(TAB, 568.1, 400.0)
    again_laid = lay_of(case[0], "open", [*lay.placements[:2], beyond], remnant=case[0].remnants[0])
    assert {f.kind for f in prove(again_laid, case[0]).failures} == {"cloth"}


def test_leftover_holds_some_of_the_garments() -> None:
    """A lay on a leftover is held to the garments it lists, of those that the order has."""
    order, lay = ALL["leftover"]()
    more = replace(order, garments=(replace(order.garments[0], count=3),))
    assert prove(lay, more).failures == ()
    none = replace(order, garments=(replace(order.garments[0], count=0),))
    assert "garments" in {f.kind for f in prove(lay, none).failures}


def test_sections_of_kinds_that_take_the_whole_cloth() -> None:
    """A crosswise fold or a stack cannot be one section of several."""
    order = order_of(cut(TAB, cut=4, alike_ok=True))
    one = lay_of(order, "crosswise fold", [put(TAB, 60, 100, plies=(0, 1))]).sections[0]
    two = finished(order, (one, replace(one, start=300.0)))
    assert "spread" in {f.kind for f in prove(two, order).failures}


def test_flaw_misplaced() -> None:
    """A hole of the leftover drawn where it is not."""
    order, lay = ALL["leftover"]()
    section = lay.sections[0]
    (ply,) = section.spread.plies
    flaws = (tuple((x + 1.0, y) for x, y in ply.flaws[0]),)
    spread = replace(section.spread, plies=(replace(ply, flaws=flaws),))
    assert {f.kind for f in prove(replace(lay, sections=(replace(section, spread=spread),)), order).failures} == {
        "spread"
    }


@pytest.mark.parametrize("wrong", ["mirrored", "halved", "moved"])
def test_what_comes_off_is_compared_with_the_pattern(monkeypatch: pytest.MonkeyPatch, wrong: str) -> None:
    """Were the cloth to give other pieces than the outlines on the table promise, that would be seen on its own."""
    order, lay = lengthwise()

    def spoiled(*args: Any, **given: Any) -> list[ClothPiece]:
        pieces = cut_through(*args, **given)
        bad = []
        for piece in pieces:
            x0, y0, x1, y1 = piece.polygon.bounds
            if wrong == "mirrored":
                shape = scale(piece.polygon, -1.0, 1.0)
            elif wrong == "moved":
                shape = translate(piece.polygon, 0.1, 0.0)
            else:
                shape = piece.polygon.intersection(box(x0, y0, (x0 + x1) / 2, y1))
            bad.append(replace(piece, polygon=shape))
        return bad

    monkeypatch.setattr("nesting.proof.proving.cut_through", spoiled)
    said = [f.message for f in prove(lay, order).failures if f.kind == "shape"]
    assert any("what comes off ply" in message for message in said)


def test_folded_leftover() -> None:
    """A rectangular leftover without flaws may be folded, any other only lie open; its length is all there is."""
    order = order_of(cut(BRIEF))
    whole = Remnant("scrap", "main", ((0, 0), (250, 0), (250, 400), (0, 400)))
    order = replace(order, remnants=(whole,))
    lay = lay_of(order, "lengthwise fold", [put(BRIEF, 100, 30, plies=(0, 1), on_fold=True)], remnant=whole)
    assert prove(lay, order).failures == ()
    assert prove(lay, order).utilisation == pytest.approx(34_200 / (400 * 200))
    slanted = replace(whole, outline=((0, 0), (250, 0), (240, 400), (0, 400)))
    assert "spread" in {f.kind for f in prove(lay, replace(order, remnants=(slanted,))).failures}
    flawed = replace(whole, flaws=(((200, 300), (220, 300), (220, 320)),))
    assert "spread" in {f.kind for f in prove(lay, replace(order, remnants=(flawed,))).failures}
    short = replace(whole, outline=((0, 0), (190, 0), (190, 400), (0, 400)))
    assert "cloth" in {f.kind for f in prove(lay, replace(order, remnants=(short,))).failures}
    stacked = replace(lay, sections=(replace(lay.sections[0], spread=replace(lay.sections[0].spread, kind="tubular")),))
    assert "spread" in {f.kind for f in prove(stacked, order).failures}


def test_tube_has_no_selvage() -> None:
    """A selvage given for a tube does not matter: there is none."""
    order, lay = ALL["tubular"]()
    order = replace(order, cloths=(replace(order.cloths[0], selvage=12.0),))
    assert prove(replace(lay, selvage=12.0), order).failures == ()


def test_too_little_cloth() -> None:
    """All the cloth there is ends before the lay does; where it is just enough, no more than that is bought."""
    order, lay = open_lay()  # 300 mm and two ends of 20 mm
    short = replace(order, cloths=(replace(order.cloths[0], length=339.0),))
    assert "cloth" in {f.kind for f in prove(lay, short).failures}
    enough = replace(order, cloths=(replace(order.cloths[0], length=350.0),))
    all_of_it = replace(lay, buy_length=350.0, garments=(replace(lay.garments[0], length_each=350.0),))
    assert prove(all_of_it, enough).failures == ()


def test_shrinkage_and_selvage_are_the_orders() -> None:
    """A lay made for another shrinkage, selvage or width fails: nothing is taken from the lay itself."""
    order, lay = open_lay()
    for fields in ({"shrink_along": 0.2}, {"shrink_across": 0.05}, {"selvage": 25.0}, {"end_allowance": 60.0}):
        other = replace(order, cloths=(replace(order.cloths[0], **fields),))  # type: ignore[arg-type]
        assert not prove(lay, other).ok, fields


def test_more_garments_asked_for() -> None:
    """The order wants two, the lay has one."""
    order, lay = open_lay()
    two = replace(order, garments=(replace(order.garments[0], count=2),))
    assert {"count", "garments"} <= {f.kind for f in prove(lay, two).failures}
    assert prove(lay, two, counts={("shorts", None): 1}).ok


def test_require_raises_and_names_the_first_failures() -> None:
    """The error that keeps a bad lay from being written."""
    order, lay = open_lay()
    with pytest.raises(ProofError, match=r"failed its proof and was not written: .*shorts: 2 asked for, 1 are cut"):
        require(with_placements(lay, {0: None}), order)


def test_places() -> None:
    """Where nothing nearer is known, a failure is told at the piece's own place; an overlap where the two meet."""
    order, lay = open_lay()
    tilted = with_placements(lay, {0: again(lay.placements[0], turn=0.5)})
    assert [f.place for f in prove(tilted, order).failures if f.kind == "turn"] == [(150.0, 100.0)]
    onto = with_placements(lay, {3: moved(lay.placements[3], 0.0, -40.0)})
    (overlap,) = (f for f in prove(onto, order).failures if f.kind == "overlap")
    assert overlap.place is not None
    # the tab's lower edge is now at 600 … 580, the brief's upper one at 610 … 590
    assert 10.0 < overlap.place[0] < 110.0 and 580.0 < overlap.place[1] < 610.0
    folded, flat = lengthwise()
    under = with_placements(flat, {3: replace(flat.placements[3], plies=(1,))})
    (overlap,) = (f for f in prove(under, folded).failures if f.kind == "overlap")
    # on the table, though the ply lies turned over
    assert overlap.place is not None and 300.0 < overlap.place[1] < 360.0


def test_words() -> None:
    """A failure says which piece, where, and what is wrong."""
    order, lay = lengthwise()
    verdict = prove(with_placements(lay, {0: moved(lay.placements[0], 0.0, 1.0)}), order)
    said = [str(f) for f in verdict.failures if f.kind == "fold"]
    assert said == ["piece 'brief', near 100.0 × 1.0 mm: brief 1: its fold edge is 1 mm off the fold of the cloth"]
    shown = verdict.as_dict()
    assert shown["ok"] is False
    assert shown["failures"][0]["piece"] == "brief"
    assert shown["failures"][0]["place"] == pytest.approx([100.0, 1.0])


def test_leg_is_one_sided() -> None:
    """The pieces of these tests: the leg differs from its mirror image, the band does not."""
    from nesting.proof.pattern import plain

    assert not plain(LEG).symmetric
    assert plain(BAND).symmetric
