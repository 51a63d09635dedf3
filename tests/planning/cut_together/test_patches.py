"""A second cloth in patches: cut first, laid at the leaders, cheaper than metres over all of them."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

import nesting
from nesting.files.lays.layfile import lay_as_bytes, read_lay
from nesting.model.lay import Lay
from nesting.model.order import Cloth, CutPiece, Garment, Order, SpreadName, Together
from nesting.model.piece import Piece
from nesting.planning.cut_together.patches import in_patches
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.stated import provable
from nesting.proof import prove
from nesting.proof.edited import judgement_of
from nesting.report.html.drawn import part_html
from nesting.report.html.lay_part import lay_part
from nesting.resolving.resolve import resolve


def rectangle(name: str, along: float, across: float, **how) -> CutPiece:
    """Its reference point in the middle."""
    a, b = along / 2, across / 2
    ring = ((-a, -b), (a, -b), (a, b), (-a, b))
    return CutPiece(Piece(name, ring, grainline=((-a, 0.0), (a, 0.0))), None, **how)


def order(*, faces="same", count: int = 4, leader=None, follower=None, main=None, thin=None) -> Order:
    """Fronts of 300 × 200 among large backs; a lining of 300 × 200 is cut with each front."""
    leader = leader or rectangle("front", 300.0, 200.0)
    follower = follower or rectangle("lining", 300.0, 200.0, cloth="thin")
    pieces = (leader, follower, rectangle("back", 700.0, 500.0))
    cloths = (
        Cloth("main", 1000.0, **(main or {})),
        Cloth("thin", 1000.0, increment=10.0, end_allowance=0.0, **(thin or {})),
    )
    garments = (Garment("briefs", None, count, ("front", "lining", "back")),)
    together = (Together("front", "lining", faces),)
    return Order("fronts", "cm", None, "", pieces, cloths, garments, together=together)


def laid(asked: Order, spread: SpreadName = "open") -> tuple[Lay, Lay]:
    """First and second cloth, the second in patches, whatever other ways would cost."""
    options = SearchOptions(seconds=None, rounds=4)
    first = lay_cloth(resolve(asked), "main", options, spread=spread)
    return in_patches(resolve(asked), first, lay_cloth(resolve(asked), "thin", options), options)


def test_the_cheapest_way_that_cuts_at_the_same_time_is_taken() -> None:
    """Fronts of 900 × 80 beside backs of 900 × 900: over all of them the lining takes metres, in patches of 320 × 100
    very little; fronts that lie together take no more over their length than in patches."""
    asked = order(
        leader=rectangle("front", 900.0, 80.0), follower=rectangle("lining", 300.0, 80.0, cloth="thin"), count=3
    )
    asked = replace(asked, pieces=(*asked.pieces[:2], rectangle("back", 900.0, 900.0)))
    first, second = nesting.lay(asked, rounds=4, workers=1)
    assert first.lay_length > 2600.0
    assert second.patches and second.over is None and second.buy_length <= 340.0
    assert any("patch" in note and "cut apart" in note and "over the whole length" in note for note in second.notes)
    assert [number for number, _, _ in first.patch_places] == [p.number for p in second.patches]
    # four fronts that lie together take no more over their length than in patches with their margins
    together = order()
    first, second = nesting.lay(together, rounds=4, workers=1)
    assert second.buy_length <= 640.0


def test_the_report_says_what_the_sheets_say_of_patches() -> None:
    """Which rectangles to cut first, where each is laid, what to do before it is spread: on the page, too."""
    lays = laid(order(main={"shrink_along": 0.05}))
    page = re.sub(r"<[^>]*>", "", part_html("lay", lay_part(lays, resolve(order()))))
    for patch in lays[1].patches:
        assert f"Patch {patch.number}: {patch.length / 10:.1f} along the grain" in page
        assert f"Lay patch {patch.number} of “thin” here" in page
    assert "Cut these rectangles first" in page and "a check, not a cutting list" in page
    assert "Wash first" in page


def test_a_patch_for_each_front_takes_less_than_metres() -> None:
    """Four patches of 320 × 220 lie beside each other on 1000 mm: 320 mm; over all the leaders it would be metres."""
    first, second = laid(order())
    assert len(second.patches) <= 4 and second.over is None
    assert second.lay_length < first.lay_length
    assert sum(len(p.placements) for p in second.patches) == 4
    for patch in second.patches:
        assert patch.margin == pytest.approx(10.0) and patch.on.cloth == "main"
    assert prove(second, order(), first=first).ok


@pytest.mark.parametrize("apart", ["open", "lengthwise fold", "crosswise fold"])
def test_the_bound_of_patches_is_that_of_open_cloth(apart: SpreadName) -> None:
    """By hand: four linings of 300 × 200 cover 240 of 1000 wide, one alone is 300 long: 300, however the lay that they
    were compared with was folded. On a crosswise fold its table holds two lengths of cloth, which patches do not."""
    asked, options = order(), SearchOptions(seconds=None, rounds=4)
    listed = resolve(asked)
    first = lay_cloth(listed, "main", options, spread="open")
    by_itself = lay_cloth(listed, "thin", options, spread=apart)
    _, second = in_patches(listed, first, by_itself, options)
    assert second.lower_bound == pytest.approx(300.0, abs=0.2) and "alone is that long" in second.bound_reason
    assert second.lower_bound == pytest.approx(provable(listed, second) or 0.0)


def test_the_margin_is_the_orders() -> None:
    """Two centimetres round each follower where the order says so."""
    asked = order(count=1, thin={"patch_margin": 20.0})
    first, second = laid(asked)
    (patch,) = second.patches
    assert {round(patch.length), round(patch.width)} == {340, 240} and patch.margin == pytest.approx(20.0)
    assert prove(second, asked, first=first).ok
    # less stated than is there does no harm, but is not true
    less = replace(second, patches=(replace(patch, margin=15.0),))
    (failure,) = prove(less, asked, first=first).failures
    assert "15.00 mm is stated, 20.00 mm are there" in failure.message


@pytest.mark.parametrize("faces", ["same", "to the leader"])
@pytest.mark.parametrize("spread", ["open", "lengthwise fold"])
def test_hands_and_faces_come_out_right(faces, spread) -> None:
    """A one-sided lining of left and right fronts; the proof of both lays says so, by counts of hands and by places."""
    ring = ((-150.0, -100.0), (150.0, -100.0), (150.0, 60.0), (-150.0, 100.0))
    front = CutPiece(Piece("front", ring, grainline=((-100.0, 0.0), (100.0, 0.0))), None, cut=2, mirrored=True)
    lining = replace(front, piece=replace(front.piece, name="lining"), cloth="thin")
    asked = order(faces=faces, count=2, leader=front, follower=lining)
    first, second = laid(asked, spread=spread)
    assert second.patches and prove(second, asked, first=first).ok
    on = {p.on.face for p in second.patches}
    if spread == "open":
        assert on == ({"up"} if faces == "same" else {"down"})


def test_over_a_folded_leader_the_patch_is_folded() -> None:
    """A half front on the fold: its lining comes from a patch folded round the same fold, opened out by itself."""
    ring = ((-150.0, 0.0), (150.0, 0.0), (150.0, 90.0), (-150.0, 100.0))
    half = Piece("front", ring, grainline=((-100.0, 50.0), (100.0, 50.0)), fold=((-150.0, 0.0), (150.0, 0.0)))
    half = replace(half, outline=tuple((x, y - 50.0) for x, y in ring), grainline=((-100.0, 0.0), (100.0, 0.0)),
                   fold=((-150.0, -50.0), (150.0, -50.0)))  # fmt: skip
    front = CutPiece(half, None, unfold=False)
    lining = replace(front, piece=replace(half, name="lining"), cloth="thin", unfold=True)
    asked = order(count=2, leader=front, follower=lining)
    first, second = laid(asked, spread="lengthwise fold")
    assert second.patches and prove(second, asked, first=first).ok
    for patch in second.patches:
        assert len(patch.on.plies) == 2
        assert min(patch.length, patch.width) >= 2 * 90.0 + 2 * patch.margin - 1e-6
    assert all(p.opened for p in second.placements)


def test_spoiled_patches_are_refused() -> None:
    """Moved, made smaller, turned over, off their leaders, with another's piece, or over one another."""
    asked = order(count=3)
    first, second = laid(asked)
    assert prove(second, asked, first=first).ok

    def with_patch(n: int, **how) -> Lay:
        changed = tuple(replace(p, **how) if i == n else p for i, p in enumerate(second.patches))
        return replace(second, patches=changed)

    one = second.patches[0]
    on = one.on
    spoiled = [
        with_patch(0, x=one.x + 15.0),
        with_patch(0, length=one.length - 30.0),
        with_patch(0, margin=one.margin + 5.0),
        with_patch(0, placements=()),
        with_patch(0, placements=(0, 0)),
        with_patch(0, turn=one.turn + 90.0),
        with_patch(0, on=replace(on, x=on.x + 2.0)),
        with_patch(0, on=replace(on, y=on.y - 2.0)),
        with_patch(0, on=replace(on, face="down" if on.face == "up" else "up")),
        with_patch(0, on=replace(on, plies=(7,))),
        with_patch(0, on=replace(on, section=3)),
        with_patch(0, on=replace(on, cloth="felt")),
        with_patch(0, on=replace(on, length=on.length + 5.0)),
        replace(second, patches=second.patches[1:]),
        replace(second, patches=(*second.patches, second.patches[0])),
    ]
    for wrong in spoiled:
        assert not prove(wrong, asked, first=first).ok
    # the leaders moved under the patches
    moved = replace(first.sections[0], placements=tuple(
        replace(p, y=p.y + 3.0) if p.piece == "front" else p for p in first.sections[0].placements
    ))  # fmt: skip
    assert not prove(second, asked, first=replace(first, sections=(moved,))).ok


def test_both_cloths_tell_the_same_patches(tmp_path) -> None:
    """Where the first lay shows more, fewer, other or moved patches than the second has, neither is accepted, even if
    there is one only or one stands there twice."""
    asked = order(count=2)
    first, second = laid(asked)

    def ok(one: Lay, other: Lay) -> bool:
        for lay in (first, second):
            (tmp_path / f"lay-{lay.cloth}.json").write_bytes(lay_as_bytes(lay))
        (tmp_path / f"lay-{one.cloth}.json").write_bytes(lay_as_bytes(one))
        return judgement_of(tmp_path / f"lay-{one.cloth}.json", asked).verdict.ok

    assert ok(first, second) and ok(second, first)
    places = first.patch_places
    number, of, on = places[0]
    for wrong in (
        (*places, places[0]),
        (),
        ((number + 7, of, on), *places[1:]),
        ((number, of, replace(on, x=on.x + 3.0)), *places[1:]),
        ((number, "felt", on), *places[1:]),
        (*places, (number, "felt", on)),
    ):
        assert not ok(replace(first, patch_places=wrong), second), wrong
    renumbered = tuple(replace(p, number=p.number + 7) for p in second.patches)
    assert not ok(replace(second, patches=renumbered), first)


def test_patches_are_written_and_read_again(tmp_path) -> None:
    """The lay files of both cloths tell them."""
    asked = order(count=2)
    for lay in laid(asked):
        path = tmp_path / f"lay-{lay.cloth}.json"
        path.write_bytes(lay_as_bytes(lay))
        again = read_lay(path)
        assert len(again.patches) == len(lay.patches) and len(again.patch_places) == len(lay.patch_places)
        for a, b in zip(again.patches, lay.patches, strict=True):
            assert a.placements == b.placements and a.on.plies == b.on.plies
            assert a.x == pytest.approx(b.x, abs=1e-5) and a.on.x == pytest.approx(b.on.x, abs=1e-5)
