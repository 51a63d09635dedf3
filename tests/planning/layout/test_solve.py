"""The search over spreads: open is never longer, the default is the easiest of the cheapest, starts are kept."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from nesting.model.lay import Lay, Section
from nesting.model.order import Cloth, Garment, Motif, Order, Remnant, Seam, Together
from nesting.model.piece import Edge, Notch
from nesting.planning.layout import solve
from nesting.planning.layout.assemble import assemble, with_length
from nesting.planning.layout.demand import stacks_of
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.solve import lay_cloth, lay_order
from nesting.planning.layout.starts import opened_out, places_from
from nesting.proof import prove
from nesting.resolving.resolve import resolve
from tests.planning.builders import flag, half, order_of, rect

FEW = SearchOptions(seconds=None, rounds=8, seed=0, workers=1)


def chorus(count: int = 2, **cloth: Any) -> Order:
    """Briefs and legs: halves on the fold, a mirrored pair, a band."""
    return order_of(
        half("front", 260, 170),
        half("back", 300, 190),
        flag("leg", 320, 260, cut=2, mirrored=True, marked=True),
        rect("band", 60, 340),
        count=count,
        **{"width": 1000.0, "selvage": 10.0, "gap": 3.0, "increment": 10.0, "end_allowance": 20.0, **cloth},
    )


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_open_is_never_longer_and_the_default_buys_least(seed: int) -> None:
    """Opened out, a folded lay takes the same cloth: so open starts from it. The chosen spread buys the least."""
    order = chorus()
    lay = lay_cloth(resolve(order), "main", replace(FEW, seed=seed))
    verdict = prove(lay, order)
    assert verdict.ok, [str(f) for f in verdict.failures]
    laid = [t for t in lay.tried if t.refused is None]
    assert {t.kind for t in laid} >= {"open", "lengthwise fold", "partial fold", "crosswise fold", "sections"}
    opened = next(t for t in laid if t.kind == "open")
    for other in laid:
        assert other.lay_length is not None and opened.lay_length is not None and other.buy_length is not None
        cloth = other.lay_length * (2 if other.kind == "crosswise fold" else 1)
        assert opened.lay_length <= cloth + 1e-6, other.kind
        assert lay.buy_length <= other.buy_length
    assert [t.kind for t in laid if t.chosen] == [lay.sections[0].spread.kind if len(lay.sections) == 1 else "sections"]


def test_easier_wins_where_the_shop_cuts_the_same_length() -> None:
    """Everything on one metre: the spread with fewest placements is returned although open is shorter on the table."""
    order = chorus(1, increment=1000.0)
    lay = lay_cloth(resolve(order), "main", FEW)
    handling = {t.kind: t.handling for t in lay.tried if t.handling is not None and t.buy_length == lay.buy_length}
    chosen = next(t for t in lay.tried if t.chosen)
    assert chosen.handling is not None
    effort = {kind: h[0] + h[2] for kind, h in handling.items()}
    assert effort[chosen.kind] == min(effort.values()) < effort["open"]


@pytest.mark.parametrize(
    ("kind", "cloth"),
    [
        ("lengthwise fold", {}),
        ("partial fold", {}),
        ("double fold", {}),
        ("crosswise fold", {"stretch_across": 0.5, "stretch_along": 0.5}),
        ("stacked face up", {"plies": 2}),
        ("stacked face to face", {"plies": 2}),
    ],
)
def test_a_folded_lay_opens_out_into_an_open_lay_that_holds(kind: Any, cloth: Any) -> None:
    """Every cloth piece of the folded lay, laid on opened-out cloth where it is, passes the proof of an open lay."""
    order = chorus(**cloth)
    folded = lay_cloth(resolve(order), "main", FEW, spread=kind)
    assert prove(folded, order).ok
    flat = replace(order, cloths=(replace(order.cloths[0], plies=1),))
    main = flat.cloths[0]
    section = folded.sections[0]
    lying = opened_out(section, order.cloths[0])
    assert lying is not None
    assembly = assemble(resolve(flat), main, stacks_of(resolve(flat), main), "open")
    places = places_from(lying, assembly)
    assert len(places) == len(assembly.jobs), "every cloth piece is found again"
    placements, length = assembly.placements(places)
    first = min(x for p in placements for x, _ in p.outline)
    assert first > -1e-6
    opened = lay_cloth(resolve(flat), "main", FEW, spread="open")
    lay = replace(
        opened,
        sections=(Section(with_length(assembly, length), length, placements),),
        lay_length=length,
        lower_bound=0.0,
    )
    wrong = [f for f in prove(lay, flat).failures if f.kind not in ("buy", "utilisation", "value")]
    assert not wrong, [str(f) for f in wrong]


def test_rounds_repeat_exactly() -> None:
    """Same seed, same rounds: the same lay, placement by placement."""
    first, second = (lay_cloth(resolve(chorus()), "main", FEW) for _ in range(2))
    assert first.sections == second.sections


def test_kept_pieces_stay_where_they_are() -> None:
    """Continuing from a lay with some pieces kept: those do not move, and the rest is complete."""
    order = chorus()
    start = lay_cloth(resolve(order), "main", FEW, spread="open")
    kept = [("front", 1), ("back", 2)]
    lay = lay_cloth(resolve(order), "main", replace(FEW, seed=5), start=start, keep=kept)
    assert prove(lay, order).ok

    def where(one: Lay) -> dict[tuple[str, int], tuple[float, float, float]]:
        return {(p.piece, p.copy): (round(p.x, 6), round(p.y, 6), p.turn) for p in one.placements}

    for key in kept:
        assert where(lay)[key] == where(start)[key]


def test_more_garments_start_from_the_lay_before() -> None:
    """A lay of three garments begins with the lay of two: it cannot be worse than that lay with one more behind it."""
    order = chorus()
    counts = {("g", None): 2}
    two = lay_cloth(resolve(order), "main", FEW, counts=counts, spread="open")
    one = lay_cloth(resolve(order), "main", FEW, counts={("g", None): 1}, spread="open")
    three = lay_cloth(resolve(order), "main", FEW, counts={("g", None): 3}, start=two, spread="open")
    assert len(three.placements) == 15
    assert three.lay_length <= two.lay_length + one.lay_length + 3 * 3.0


def test_a_leftover_with_a_hole_is_laid_around_it() -> None:
    """The flaw stays free, and what does not fit is refused with the piece's name."""
    order = order_of(rect("a", 100, 100), count=3)
    hole = ((150.0, 50.0), (250.0, 50.0), (250.0, 150.0), (150.0, 150.0))
    leftover = Remnant("scrap", "main", ((0.0, 0.0), (400.0, 0.0), (400.0, 200.0), (0.0, 200.0)), (hole,))
    lay = lay_cloth(resolve(order), "main", FEW, remnant=leftover)
    verdict = prove(lay, replace(order, remnants=(leftover,)))
    assert verdict.ok, [str(f) for f in verdict.failures]
    from nesting.model.errors import CannotLayError

    small = Remnant("tiny", "main", ((0.0, 0.0), (90.0, 0.0), (90.0, 200.0), (0.0, 200.0)))
    with pytest.raises(CannotLayError, match="'a'"):
        lay_cloth(resolve(order), "main", FEW, remnant=small)


# -- stripes -------------------------------------------------------------------------------------------------------


def striped(repeat: float, **cloth: Any) -> Order:
    """Front and back joined at a side edge whose notches must meet on the stripe."""

    def with_side(name: str, at: float) -> Any:
        cut = rect(name, 300, 220)
        piece = replace(
            cut.piece,
            notches=(Notch((at, -110.0), 90.0, name="s1"),),
            edges=(Edge("side", (-150.0, -110.0), (150.0, -110.0)),),
        )
        return replace(cut, piece=piece)

    order = order_of(with_side("front", 20.0), with_side("back", -37.0), count=3, repeat_along=repeat, **cloth)
    return replace(order, seams=(Seam(("front.side", "back.side"), match=True),))


@pytest.mark.parametrize("spread", ["open", "lengthwise fold"])
def test_stripes_meet_at_the_notches_of_joined_pieces(spread: Any) -> None:
    """In every garment the two match points agree modulo the repeat to 0.05 mm; the proof looks, too."""
    repeat = 64.0
    order = striped(repeat)
    lay = lay_cloth(resolve(order), "main", FEW, spread=spread)
    verdict = prove(lay, order)
    assert verdict.ok, [str(f) for f in verdict.failures]
    points: dict[int, list[float]] = {}
    for p in lay.placements:
        for copy in p.copies or (p.copy,):
            points.setdefault(copy, []).append(p.notches[0].at[0])
    for copy, (a, b) in points.items():
        off = (a - b + repeat / 2) % repeat - repeat / 2
        assert abs(off) <= 0.05, copy


def test_matching_costs_no_more_than_the_rule_of_thumb() -> None:
    """Rule of thumb (two fabric-shop pages, weak): one repeat for each lengthwise row of matched pieces."""
    repeat = 64.0
    matched = lay_cloth(resolve(striped(repeat)), "main", FEW, spread="open")
    plain = lay_cloth(resolve(replace(striped(repeat), seams=())), "main", FEW, spread="open")
    rows = round(plain.lay_length / 300.0 + 0.5)
    assert plain.lay_length - 1e-6 <= matched.lay_length <= plain.lay_length + rows * repeat


def test_a_motif_lies_on_the_repeat() -> None:
    """The marked point of each piece lies on a multiple of the repeat plus the offset, along and across."""
    cut = rect("a", 100, 100, motif=Motif((10.0, -5.0), (7.0, 3.0)))
    order = order_of(cut, count=4, repeat_along=70.0, repeat_across=55.0)
    lay = lay_cloth(resolve(order), "main", FEW, spread="open")
    assert prove(lay, order).ok
    for p in lay.placements:
        sign = 1.0 if p.turn == 0.0 else -1.0
        x, y = p.x + sign * 10.0 - 7.0, p.y - sign * 5.0 * (-1.0 if p.flipped else 1.0) - 3.0
        assert abs(x - 70.0 * round(x / 70.0)) <= 0.05 and abs(y - 55.0 * round(y / 55.0)) <= 0.05


@pytest.mark.parametrize("repeat,cost", [(300.0, "20 cm"), (200.0, "0 cm")])
def test_what_matching_costs(repeat: float, cost: str) -> None:
    """Three pieces 20 cm long and as wide as the cloth, each end of theirs on the repeat: left ends at 0, 30 and 60 cm
    take 80 cm where 60 would do; on a repeat of 20 cm nothing is lost."""
    cut = rect("a", 200, 1000, motif=Motif((-100.0, 0.0)))
    order = order_of(cut, count=3, repeat_along=repeat)
    lay = lay_cloth(resolve(order), "main", FEW, spread="open")
    assert lay.lay_length == pytest.approx(800.0 if repeat == 300.0 else 600.0, abs=0.01)
    assert any(note.startswith(f"matching the repeat costs about {cost} of cloth") for note in lay.notes)


# -- cut together, second cloth ------------------------------------------------------------------------------------


def test_a_second_cloth_lies_over_the_leaders() -> None:
    """The lining is cut through at the fronts' places; both lays are proved and say what it costs."""
    front, lining = half("front", 260, 170), half("lining", 260, 170, cloth="lining")
    order = order_of(front, half("back", 300, 190), lining, count=3, gap=3.0)
    order = replace(
        order,
        cloths=(*order.cloths, Cloth("lining", 1000.0, increment=10.0, end_allowance=0.0, gap=3.0)),
        together=(Together("front", "lining"),),
        garments=(Garment("g", None, 3, ("front", "back", "lining")),),
    )
    main, second = lay_order(resolve(order), FEW)
    for lay in (main, second):
        verdict = prove(lay, order)
        assert verdict.ok, (lay.cloth, [str(f) for f in verdict.failures])
    leaders = [p for s in main.sections for p in s.placements if p.piece == "front"]
    followers = [p for s in second.sections for p in s.placements]
    assert len(leaders) == len(followers) == 3
    shift = {round(a.x - b.x, 6) for a, b in zip(leaders, followers, strict=True)}
    assert len(shift) == 1, "the second cloth is one piece laid over the first"
    assert any("cut apart" in note for note in second.notes) and any("cut apart" in note for note in main.notes)


def test_in_a_short_time_many_pieces_lie_open_and_folds_are_not_tried() -> None:
    """Below 0.13 s a piece; the table says so. With few pieces folds have their first layouts however short it is."""
    many = order_of(rect("patch", 120, 90), count=101)
    lay = lay_cloth(resolve(many), "main", SearchOptions(seconds=1.0, workers=1))
    assert prove(lay, many).ok
    refused = {t.kind: t.refused.code for t in lay.tried if t.refused is not None}
    assert {k for k, code in refused.items() if code == "spread.no-time"} >= {"lengthwise fold", "crosswise fold"}
    assert [t.kind for t in lay.tried if t.chosen] == ["open"]
    few = order_of(rect("patch", 120, 90), count=20)
    lay = lay_cloth(resolve(few), "main", SearchOptions(seconds=1.0, workers=1))
    assert "lengthwise fold" in {t.kind for t in lay.tried if t.refused is None}


def test_what_is_told_only_gets_better() -> None:
    """A longer lay of a cloth, as of a fold that begins only now, is not told in the place of a shorter one; that with
    which its search ends is told, whatever it is."""
    order = order_of(rect("patch", 120, 90), count=3)
    (short,) = lay_order(resolve(order), FEW)
    longer = replace(short, buy_length=short.buy_length + 10.0)
    told: list[float] = []
    together = solve._Together(resolve(order), order.cloths, lambda lays: told.append(lays[0].buy_length))
    for lay in (longer, short, longer):
        together.take((lay,))
    assert told == [longer.buy_length, short.buy_length, short.buy_length]
    together.take((longer,), ended=True)
    assert told[-1] == longer.buy_length


@pytest.mark.parametrize(("before", "more"), [(0.5, 1.0), (1.4, 0.97), (1.6, 0.68), (2.0, 0.1), (2.1, 0.0), (5.0, 0.0)])
def test_a_command_searches_on_as_far_as_drawing_leaves_it_time(before: float, more: float) -> None:
    """Worked by hand: of the three seconds after its time 1.45 times what came before the search are for drawing and
    proof; of what is left one second at most is searched. A slow machine gets none."""
    assert solve._grace(before) == pytest.approx(more)
    assert 5.0 + solve._grace(before) + 1.45 * before <= 5.0 + max(3.0, 1.45 * before) + 1e-9
