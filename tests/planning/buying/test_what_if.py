"""What would save: which changes are tried, and what each saves; the search is a stand-in whose lengths are known."""

from __future__ import annotations

import html
import io
import math
from dataclasses import replace
from typing import Any

import pytest
from rich.console import Console

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import Cloth, CutPiece, Garment, Motif, Order
from nesting.model.piece import Piece
from nesting.planning.buying.buy_rows import Buying
from nesting.planning.buying.what_if import Told, choices, what_if
from nesting.planning.layout.laying import area_of
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import SearchOptions
from nesting.report.html.buy_page import buying_section, saving_rows
from nesting.report.html.drawn import part_html
from nesting.report.terminal.buy_terminal import buying_summary
from nesting.resolving.cutting_list import CuttingList
from nesting.resolving.resolve import resolve


def rectangle(name: str, along: float, across: float, **how: Any) -> CutPiece:
    """Its reference point in the middle."""
    a, b = along / 2, across / 2
    ring = ((-a, -b), (a, -b), (a, b), (-a, b))
    return CutPiece(Piece(name, ring, grainline=((-a / 2, 0.0), (a / 2, 0.0))), None, **how)


def order(**cloth: Any) -> CuttingList:
    """Two garments of a body and a long band; 100 × 900 mm."""
    body, band = rectangle("body", 500.0, 400.0), rectangle("band", 100.0, 900.0, band=True)
    main = Cloth("main", **{"width": 1000.0, "price": 10.0, "end_allowance": 0.0, "increment": 1.0, **cloth})
    garment = Garment("top", None, 2, ("body", "band"))
    return resolve(Order("tops", "cm", None, "", (body, band), (main,), (garment,)))


def by_area(part: CuttingList, cloth: str, **_: Any) -> Lay:
    """A lay without any waste: as long as its area over its width."""
    stuff = part.cloth_named(cloth)
    area = sum(g.count * e.cut.cut * area_of(e.cut) for g in part.garments for e in g.pieces)
    length = math.ceil(area / stuff.width)
    return Lay("", cloth, stuff.width, stuff.width, stuff.width, (), length, length, 0.0, "", 1.0, ())


def apart(_: CuttingList, lays: tuple[Lay, ...]) -> tuple[Lay, ...]:
    """No second cloths."""
    return lays


def test_each_change_saves_what_its_area_says() -> None:
    """By hand, 2 × (500 × 400 + 100 × 900) on 1000: 580 mm. A join adds 2 × 20 × 100: 4 mm more. One garment less saves
    290, one more takes 290; on 1400 of width 415 do, so 165 are saved; at 10 per metre each mm is a cent."""
    found = {one.what: one for one in what_if(order(), by_area, apart)}
    assert found["a join in 'band'"].lengths == (("main", -4.0),)
    assert found["one top less"].length == pytest.approx(290.0) and found["one top less"].money == pytest.approx(2.9)
    assert found["one top more"].length == pytest.approx(-290.0)
    (wide,) = [one for what, one in found.items() if "140 cm wide" in what]
    assert wide.length == pytest.approx(580.0 - 415.0) and wide.money == pytest.approx(1.65)
    assert all(one.handling for one in found.values())


def test_a_change_that_only_loosens_never_costs() -> None:
    """A grain tolerance leaves the lay of the order as it is possible: a search that finds less saves nothing."""

    def worse(part: CuttingList, cloth: str, **how: Any) -> Lay:
        found = by_area(part, cloth)
        return replace(found, buy_length=found.buy_length + (50.0 if how.get("start") is not None else 0.0))

    found = {one.what: one for one in what_if(order(), worse, apart)}
    (tilt,) = [one for what, one in found.items() if "grain tolerance" in what]
    assert tilt.length == 0.0 and tilt.money == 0.0


def test_what_is_saved_is_saved_of_what_is_said_to_buy() -> None:
    """The table says buy 600 and the next adds 250, where this search finds 580 and 870: what is saved is of those 600,
    and one more is one figure. On 140 cm 415 do, so 600 − 415 are saved; one less takes 290, so 310 are."""
    told = {"main": Told(600.0, "top", 250.0)}
    found = {one.what: one for one in what_if(order(), by_area, apart, told=told)}
    assert found["one top more"].lengths == (("main", -250.0),) and found["one top more"].money == -2.5
    assert found["one top less"].lengths == (("main", 310.0),)
    (wide,) = [one for what, one in found.items() if "140 cm wide" in what]
    assert wide.length == pytest.approx(600.0 - 415.0) and wide.money == pytest.approx(1.85)
    # another garment than the next one is searched for
    other = {one.what: one for one in what_if(order(), by_area, apart, told={"main": Told(600.0, "coat", 250.0)})}
    assert other["one top more"].lengths == (("main", 600.0 - 870.0),)


def test_more_garments_never_save_and_fewer_never_cost() -> None:
    """With luck that makes three tops shorter than two, and one longer: the lay of more serves for fewer."""

    def lucky(part: CuttingList, cloth: str, **how: Any) -> Lay:
        found = by_area(part, cloth)
        count = part.garments[0].count
        return replace(found, buy_length=found.buy_length + {1: 400.0, 2: 0.0, 3: -400.0}[count])

    found = {one.what: one for one in what_if(order(), lucky, apart)}
    assert found["one top more"].length == 0.0 and found["one top more"].money == 0.0
    assert found["one top less"].length == 0.0 and found["one top less"].money == 0.0


def test_the_most_comes_first_and_what_cannot_be_laid_last() -> None:
    """With its reason."""

    def narrow_never(part: CuttingList, cloth: str, **_: Any) -> Lay:
        if part.cloth_named(cloth).width < 950.0:
            raise CannotLayError("too narrow", piece="band", code="piece.too-large")
        return by_area(part, cloth)

    found = what_if(order(), narrow_never, apart)
    saved = [one.money for one in found if one.refused is None]
    assert saved == sorted(saved, reverse=True)  # type: ignore[type-var]
    assert found[-1].refused is not None and "too narrow" in found[-1].refused and "90 cm wide" in found[-1].what


def test_without_a_price_lengths_are_told() -> None:
    """No money is made up."""
    found = what_if(order(price=None), by_area, apart)
    assert all(one.money is None for one in found) and found[0].length == max(one.length for one in found)


def test_only_what_is_there_is_tried() -> None:
    """Pairs where they are asked for, nap by garment where all lie one way, opening out where it is not allowed yet; a
    garment of which there is one only is not left out."""

    def words(listed: CuttingList) -> str:
        return " | ".join(one.what for one in choices(listed))

    assert "pairs" not in words(order()) and "nap" not in words(order()) and "opened out" not in words(order())
    assert 'nap = "by garment"' in words(order(nap="one way"))
    leg = rectangle("leg", 300.0, 200.0, cut=2, mirrored=True)
    knit = Cloth("main", 1000.0, stretch_across=0.6, stretch_along=0.6)
    single = resolve(Order("legs", "cm", None, "", (leg,), (knit,), (Garment("g", None, 1, ("leg",)),)))
    assert 'pairs = "free"' in words(single) and "one g less" not in words(single) and "one g more" in words(single)
    fold = replace(leg.piece, fold=((-150.0, -100.0), (150.0, -100.0)))
    half = replace(leg, piece=fold, cut=1, mirrored=False, unfold=False)
    folded = resolve(Order("halves", "cm", None, "", (half,), (knit,), (Garment("g", None, 1, ("leg",)),)))
    assert "opened out" in words(folded)


def test_a_join_is_offered_in_bands_and_facings_only() -> None:
    """A band of 10 × 90 cm and a rib sewn round an opening, of 9 × 30, may have one; a panel of 30 × 31, one of 20 ×
    90, a strip with a placed motif and a band on the fold may not (common practice)."""
    rib = replace(rectangle("rib", 90.0, 300.0, band=True), goes_round=("panel.top",))
    placed = replace(rectangle("placed", 100.0, 900.0, band=True), motif=Motif((0.0, 0.0)))
    half = rectangle("half", 100.0, 900.0, band=True)
    half = replace(half, piece=replace(half.piece, fold=((-50.0, -450.0), (50.0, -450.0))))
    cuts = (
        rectangle("panel", 300.0, 310.0, band=True), rectangle("long", 200.0, 900.0, band=True), placed, half, rib,
        rectangle("band", 100.0, 900.0, band=True),
    )  # fmt: skip
    main = Cloth("main", 1000.0)
    listed = resolve(Order("o", "cm", None, "", cuts, (main,), (Garment("g", None, 1, tuple(c.name for c in cuts)),)))
    assert [c.what for c in choices(listed) if "a join" in c.what] == ["a join in 'rib'", "a join in 'band'"]


@pytest.mark.parametrize(("along", "needs", "turn"), [(0.6, 0.5, "either way"), (0.6, 0.58, None), (0.3, 0.5, None)])
def test_both_halves_of_a_joined_band_lie_along_the_cloth(along: float, needs: float, turn: str | None) -> None:
    """On a knit that gives 55 % across and 60 % along, alike enough for quarter turns, one half along the cloth and one
    across would not stretch alike; where across does not give the 58 % that are needed, both lie across anyway."""
    band = rectangle("band", 100.0, 900.0, band=True, needs_stretch=needs)
    knit = Cloth("main", 1000.0, stretch_across=0.55, stretch_along=along)
    listed = resolve(Order("o", "cm", None, "", (band,), (knit,), (Garment("g", None, 1, ("band",)),)))
    (join,) = [c for c in choices(listed) if "a join" in c.what]
    (entry,) = join.listed.garments[0].pieces
    assert entry.cut.turn == turn and entry.cut.cut == 2


def test_who_reads_inches_is_told_of_widths_and_joins_in_inches() -> None:
    """45 in is what there is, so 36, 54 and 60 are tried, none to an eighth; a join takes 3/8 in at both sides of it,
    as it says: of 900 mm two of 459.525."""
    tried = choices(replace(order(width=45.0 * 25.4), imperial=True))
    assert [one.what for one in tried if "wide" in one.what] == [
        f"main {inches} in wide, at the same price by length" for inches in (36, 54, 60)
    ]
    (joined,) = [one for one in tried if "join" in one.what]
    assert "3/8 in allowed" in joined.handling
    ys = [y for e in joined.listed.garments[0].pieces if e.cut.name == "band" for _, y in e.cut.piece.outline]
    assert max(ys) - min(ys) == pytest.approx(450.0 + 0.375 * 25.4)


def test_a_joined_band_is_two_halves_with_their_allowance() -> None:
    """900 long: two of 460, as wide as before, twice as many."""
    (joined,) = [one for one in choices(order()) if "join" in one.what]
    (band,) = [e for e in joined.listed.garments[0].pieces if e.cut.name == "band"]
    xs, ys = [x for x, _ in band.cut.piece.outline], [y for _, y in band.cut.piece.outline]
    assert max(xs) - min(xs) == pytest.approx(100.0) and max(ys) - min(ys) == pytest.approx(460.0)
    assert band.cut.cut == 2 and len(band.hands) == 2


def test_with_the_search_itself_a_join_lets_a_band_fit() -> None:
    """On 600 of width a band of 900 does not lie across the cloth; joined, it does."""
    narrow = order(width=600.0)
    once = SearchOptions(seconds=None, rounds=1)
    with pytest.raises(CannotLayError):
        lay_cloth(narrow, "main", once, spread="open")
    (joined,) = [one for one in choices(narrow) if "join" in one.what]
    lay = lay_cloth(joined.listed, "main", once, spread="open")
    assert sum(p.piece == "band" for p in lay.placements) == 4


def test_where_the_order_cannot_be_laid_what_can_is_told() -> None:
    """A body wider than 1000 lies on none of the widths but those above: told, without figures."""

    def wide_only(part: CuttingList, cloth: str, **_: Any) -> Lay:
        if part.cloth_named(cloth).width < 1300.0:
            raise CannotLayError("too narrow", piece="body", code="piece.too-large")
        return by_area(part, cloth)

    found = what_if(order(), wide_only, apart)
    assert {one.what.split(",")[0] for one in found if one.refused is None} == {"main 140 cm wide", "main 150 cm wide"}
    assert all(one.money is None and one.lengths == () for one in found)


def test_the_report_shows_what_the_terminal_shows() -> None:
    """Every change with what it saves, a minus where it takes more, and why one cannot be laid; in report.json too."""

    def narrow_never(part: CuttingList, cloth: str, **_: Any) -> Lay:
        if part.cloth_named(cloth).width < 950.0:
            raise CannotLayError("too narrow", piece="band", code="piece.too-large")
        return by_area(part, cloth)

    bought = Buying("tops", False, (), (), (), (), what_if=what_if(order(), narrow_never, apart))
    rows = {row["what"]: row for row in saving_rows(bought)}
    assert rows["one top less"]["saves"] == "29.0 cm" and rows["one top less"]["money"] == "2.90"
    assert rows["one top more"]["saves"] == "−29.0 cm" and rows["one top more"]["money"] == "−2.90"
    assert rows["a join in 'band'"]["saves"] == "−0.4 cm"
    (narrow,) = [row for what, row in rows.items() if "90 cm wide" in what]
    assert narrow["refused"] and "too narrow" in narrow["handling"]
    page = part_html("buy", buying_section(bought))
    out = io.StringIO()
    Console(file=out, width=200, color_system=None).print(buying_summary(bought))
    for row in rows.values():
        for words in (row["what"], row["saves"], row["money"]):
            assert words in html.unescape(page) and words in out.getvalue()
    assert "What would save" in page
    assert [one["what"] for one in bought.as_dict()["what_if"]] == list(rows)
    # a report that was written before, and one for which nothing was tried
    plain = buying_section(replace(bought, what_if=None))
    assert "What would save" not in part_html("buy", plain)
    del plain["what_if"]
    assert "What would save" not in part_html("buy", plain)
