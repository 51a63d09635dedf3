"""As many as there is cloth for: hand-worked numbers, brute force, ratios, values, and what is never claimed."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from itertools import product

import pytest

from nesting.model.as_laid import order_as_laid
from nesting.model.errors import CannotLayError, OrderError, ProofError
from nesting.model.order import Cloth, Garment, Order, Trim
from nesting.model.piece import Edge
from nesting.planning.as_many.bundles import bundles_of, next_amount, rooms_of
from nesting.planning.as_many.filling import AS_MANY, lay_as_many, refuse_open_ended, settled_by
from nesting.planning.buying.trims import trim_needs
from nesting.planning.layout.options import SearchOptions
from nesting.planning.leftovers.assigning import assign
from nesting.planning.leftovers.cloth_pieces import FitsBySearch, Kind, PieceClass
from nesting.planning.leftovers.remnants import plan_remnants
from nesting.proof import prove
from nesting.resolving.resolve import resolve
from nesting.session.events import Better
from nesting.session.session import Session
from nesting.session.working import proved
from tests.planning.area_lays import order_of, rectangle, scrap

ROUNDS = SearchOptions(seconds=None, rounds=8)


def most(name: str, *pieces: str, **how) -> Garment:
    """As many of it as fit."""
    return Garment(name, None, how.get("ratio") or 1, pieces, most=True, **how)


def cloth(length: float, width: float = 1000.0, **how) -> Cloth:
    """A cloth of which a lay may be ``length`` mm long: without ends."""
    return Cloth("main", width, length=length, end_allowance=0.0, increment=1.0, **how)


def laid(order: Order, options: SearchOptions = ROUNDS):
    """Counts by garment, what the lay file tells, and the lays; every lay stands its proof."""
    listed = resolve(order)
    lays = lay_as_many(listed, options)
    assert all(v.ok for v in proved(lays, order))
    return {g.name: g.count for g in settled_by(listed, lays).garments}, lays[0].extra[AS_MANY], lays


def test_squares_in_a_square() -> None:
    """By hand: of 300 × 300, three lie beside each other on 1000, so nine lie on 990 of length; by area eleven would
    have room (11 × 0.09 = 0.99). Ten prove too many: nowhere do more than three cross a line across the cloth, so that
    their 3000 mm of length take 1000 at least."""
    order = order_of([rectangle("square", 300.0, 300.0)], [most("scarf", "square")], cloths=(cloth(990.0),))
    counts, told, lays = laid(order)
    assert counts == {"scarf": 9}
    assert told["proved"] and "no more fit" in lays[0].notes[-1]
    assert lays[0].lay_length <= 990.0


def test_a_full_cloth_is_proved_by_area() -> None:
    """By hand: four of 500 × 500 are all of 1000 × 1000."""
    order = order_of([rectangle("square", 500.0, 500.0)], [most("scarf", "square")], cloths=(cloth(1000.0),))
    counts, told, _ = laid(order)
    assert counts == {"scarf": 4} and told["proved"] and "area" in told["reason"]


def test_ends_and_shrinkage_take_their_part() -> None:
    """By hand: of 1300 bought, 4 % shrinks away: 1248, less 2 × 20 of ends: 1208; four rows of 300 lie on that, three
    squares in each: 12. A longer end of 30 leaves 1188: three rows, 9."""
    for ends, there in ((20.0, 12), (30.0, 9)):
        stuff = Cloth("main", 1000.0, length=1300.0, end_allowance=ends, shrink_along=0.04, increment=1.0)
        order = order_of([rectangle("square", 300.0, 300.0)], [most("scarf", "square")], cloths=(stuff,))
        assert laid(order)[0] == {"scarf": there}, ends


def test_ratio_is_kept_and_room_left_over_stays_empty() -> None:
    """By hand, full widths of 200 and 100: a bundle of one to two takes 400; two bundles lie on 1000, and the 200 that
    are left would hold another 200, but not another bundle."""
    pieces = [rectangle("big", 200.0, 1000.0), rectangle("small", 100.0, 1000.0)]
    garments = [most("cape", "big", ratio=1), most("belt", "small", ratio=2)]
    counts, told, _ = laid(order_of(pieces, garments, cloths=(cloth(1000.0),)))
    assert counts == {"cape": 2, "belt": 4} and told["proved"]


def test_every_better_lay_says_how_many_it_is() -> None:
    """Wherever the search is stopped, also while the amount that was found is laid well: the lay at hand says what it
    holds, and garments of which it holds none are not named."""
    heard: list = []
    pieces = [rectangle("a", 600.0, 1000.0), rectangle("b", 400.0, 1000.0)]
    garments = [most("coat", "a", value=5.0), most("skirt", "b", value=4.0)]
    order = order_of(pieces, garments, cloths=(cloth(1200.0),))
    steps: list = []
    laid(order, replace(ROUNDS, on_lays=heard.append, on_progress=lambda step: steps.append((len(heard), step.length))))
    # from the first lay on there is one to stop for, and progress says so
    assert steps[0] == (0, None) and any(told for told, _ in steps)
    assert all((length is not None) == (told > 0) for told, length in steps)
    last = 0
    for (lay,) in heard:
        (words,) = [note for note in lay.notes if note.startswith("as many as there is cloth for")]
        held = {g["name"]: g["count"] for g in lay.extra[AS_MANY]["garments"] if g["count"]}
        assert all(f"{n} × {name}" in words for name, n in held.items()) and "0 ×" not in words
        last = held.get("skirt", 0)
    assert last == 3


def test_value_decides_between_garments() -> None:
    """By hand, full widths of 600 and 400 on 1200: two of the first, worth 10, beat three of the second, worth 9; with
    the second worth 4 each, three of it are worth 12."""
    pieces = [rectangle("a", 600.0, 1000.0), rectangle("b", 400.0, 1000.0)]
    for worth, best in ((3.0, {"coat": 2}), (4.0, {"skirt": 3})):
        garments = [most("coat", "a", value=5.0), most("skirt", "b", value=worth)]
        counts, told, _ = laid(order_of(pieces, garments, cloths=(cloth(1200.0),)))
        assert {name: n for name, n in counts.items() if n} == best and told["proved"]


def test_that_nothing_of_more_value_fits_is_said_only_where_it_is_proved() -> None:
    """By hand: full widths of 600 and 400 on 1200, worth 5 and 4: three of the second are worth 12, and what is
    worth more takes 1400 at least. Discs and squares of 300 on 1000 × 990: nine fit, and no bound here tells that ten
    do not."""
    import math

    from tests.planning.area_lays import shape

    pieces = [rectangle("a", 600.0, 1000.0), rectangle("b", 400.0, 1000.0)]
    garments = [most("coat", "a", value=5.0), most("skirt", "b", value=4.0)]
    _, told, lays = laid(order_of(pieces, garments, cloths=(cloth(1200.0),)))
    assert told["proved"] and "3 × skirt; nothing of more value fits, which is proved: " in lays[0].notes[-1]
    ring = tuple((150.0 * math.cos(t * math.pi / 30), 150.0 * math.sin(t * math.pi / 30)) for t in range(60))
    pieces = [shape("disc", ring), rectangle("square", 300.0, 300.0)]
    garments = [most("hat", "disc", value=1.0), most("scarf", "square", value=0.9)]
    _, told, lays = laid(order_of(pieces, garments, cloths=(cloth(990.0),)), SearchOptions(seconds=None, rounds=2))
    assert not told["proved"]
    assert "nothing of more value" not in lays[0].notes[-1] and "this is the best found" in lays[0].notes[-1]


def test_what_one_more_takes_at_least_differs_from_what_there_is_as_printed() -> None:
    """By hand: three bands of 300.2 take 900.6 of length, of which 900.2 are there: two fit, and the reason says
    figures that differ, the first no more than those 900.6."""
    order = order_of([rectangle("band", 300.2, 990.0)], [most("belt", "band")], cloths=(cloth(900.2),))
    counts, told, _ = laid(order)
    assert counts == {"belt": 2} and told["proved"]
    found = re.search(r"at least ([\d.]+) cm of the ([\d.]+) cm", told["reason"])
    assert found is not None and 90.02 == float(found[2]) < float(found[1]) <= 90.06, told["reason"]


def test_what_is_asked_for_by_number_comes_first() -> None:
    """By hand, full widths: two of 400 leave 400 of 1200, which hold one of 300."""
    pieces = [rectangle("a", 400.0, 1000.0), rectangle("b", 300.0, 1000.0)]
    garments = [Garment("coat", None, 2, ("a",)), most("skirt", "b")]
    order = order_of(pieces, garments, cloths=(cloth(1200.0),))
    assert laid(order)[0] == {"coat": 2, "skirt": 1}
    # by area alone, too, there is no room for more: 0.4 of the 1.2 m² are left, one takes 0.3
    bundles = bundles_of(resolve(order))
    assert next_amount(bundles, rooms_of(resolve(order), bundles), [], 0.0) == (1,)
    with pytest.raises(CannotLayError):
        laid(order_of(pieces, [Garment("coat", None, 4, ("a",)), most("skirt", "b")], cloths=(cloth(1200.0),)))


def best_value(lengths: list[int], worth: list[int], there: int) -> int:
    """The greatest value of full widths that lie one behind the other, by trying all numbers."""
    numbers = [range(there // length + 1) for length in lengths]
    fitting = (n for n in product(*numbers) if sum(k * a for k, a in zip(n, lengths, strict=True)) <= there)
    return max(sum(k * v for k, v in zip(n, worth, strict=True)) for n in fitting)


def test_full_widths_agree_with_brute_force() -> None:
    """Pieces as wide as the cloth lie one behind the other, so that how many fit is a knapsack: twenty random ones give
    the value that trying all numbers gives, and it is proved."""
    chance = random.Random(16)
    for number in range(20):
        kinds = chance.randint(1, 3)
        lengths = [chance.randint(110, 480) for _ in range(kinds)]
        worth = [chance.randint(1, 9) for _ in range(kinds)]
        there = chance.randint(max(lengths), 1300)
        pieces = [rectangle(f"p{k}", float(a), 1000.0) for k, a in enumerate(lengths)]
        garments = [most(f"g{k}", f"p{k}", value=float(v)) for k, v in enumerate(worth)]
        counts, told, _ = laid(order_of(pieces, garments, cloths=(cloth(float(there)),)))
        value = sum(counts.get(f"g{k}", 0) * v for k, v in enumerate(worth))
        assert value == best_value(lengths, worth, there), (number, lengths, worth, there, counts)
        assert told["proved"], (number, lengths, worth, there, told)


def test_equal_values_are_made_evenly() -> None:
    """By hand: of two garments alike in cloth and value, six that fit are three and three, not six and none."""
    pieces = [rectangle("a", 200.0, 1000.0), rectangle("b", 200.0, 1000.0)]
    order = order_of(pieces, [most("coat", "a"), most("skirt", "b")], cloths=(cloth(1200.0),))
    listed = resolve(order)
    bundles = bundles_of(listed)
    assert next_amount(bundles, rooms_of(listed, bundles), [], 0.0) == (3, 3)


def test_nothing_is_claimed_that_is_not_proved() -> None:
    """Discs on which no bound here is sharp: what was found is said as found, "at least", and never as the most."""
    import math

    from tests.planning.area_lays import shape

    ring = tuple((150.0 * math.cos(t * math.pi / 30), 150.0 * math.sin(t * math.pi / 30)) for t in range(60))
    order = order_of([shape("disc", ring)], [most("hat", "disc")], cloths=(cloth(1000.0),))
    counts, told, lays = laid(order, SearchOptions(seconds=None, rounds=2))
    assert counts["hat"] >= 9  # three rows of three, one beside the other, fit by hand
    assert not told["proved"]
    assert f"at least {counts['hat']} × hat fit; this is the best found" in lays[0].notes[-1]


def test_the_number_must_be_had() -> None:
    """Without a length there is no most; neither stacked plies nor a table of what to buy go with it."""
    piece = rectangle("square", 300.0, 300.0)
    endless = order_of([piece], [most("scarf", "square")], cloths=(Cloth("main", 1000.0),))
    with pytest.raises(OrderError) as why:
        lay_as_many(resolve(endless), ROUNDS)
    assert why.value.code == "garment.most-unlimited" and "length" in str(why.value)
    stacked = order_of([piece], [most("scarf", "square")], cloths=(cloth(1000.0, plies=3),))
    with pytest.raises(OrderError) as why:
        lay_as_many(resolve(stacked), ROUNDS)
    assert why.value.code == "garment.most-stacked"
    with pytest.raises(OrderError) as why:
        refuse_open_ended(resolve(endless), "what to buy")
    assert why.value.code == "garment.most-here"
    with pytest.raises(CannotLayError):
        lay_as_many(resolve(order_of([piece], [most("scarf", "square")], cloths=(cloth(250.0),))), ROUNDS)


def test_a_lay_that_says_another_number_is_refused() -> None:
    """The proof holds a lay to the number that it says itself, to the ratio, and all cloths to the same number."""
    pieces = [rectangle("big", 200.0, 1000.0), rectangle("small", 100.0, 1000.0)]
    garments = [most("cape", "big", ratio=1), most("belt", "small", ratio=2)]
    order = order_of(pieces, garments, cloths=(cloth(1000.0),))
    _, _, (lay,) = laid(order)
    assert prove(lay, order).ok
    (cape, belt) = sorted(lay.garments, key=lambda g: g.name != "cape")
    more = replace(lay, garments=(replace(cape, count=3), belt))
    assert {f.kind for f in prove(more, order).failures} >= {"count", "garments"}
    other = replace(order, garments=tuple(replace(g, ratio=1) for g in order.garments))
    assert any("ratio" in f.message for f in prove(lay, other).failures)
    assert [g.count for g in order_as_laid(order, (lay,)).garments] == [2, 4]


def test_all_cloths_hold_the_same_number() -> None:
    """By hand, full widths of 300 on 1000 and of 200 on 450: three of the one, two of the other, so two whole garments.
    Lays of the two cloths that hold three and two, each sound by itself, do not go together."""
    pieces = [rectangle("coat", 300.0, 1000.0), replace(rectangle("lining", 200.0, 1000.0), cloth="thin")]
    cloths = (cloth(1000.0), replace(cloth(450.0), name="thin"))
    order = order_of(pieces, [most("coat", "coat", "lining")], cloths=cloths)
    counts, _, two = laid(order)
    assert counts == {"coat": 2}
    three = laid(order_of(pieces, order.garments, cloths=(cloths[0], replace(cloths[1], length=1000.0))))[2]
    mixed = (three[0], two[1])
    assert [one.garments[0].count for one in mixed] == [3, 2] and all(prove(one, order).ok for one in mixed)
    with pytest.raises(ProofError, match="lining"):
        proved(mixed, order)


def test_leftovers_give_as_many_as_they_hold() -> None:
    """By hand: of a garment of 300 × 500 in three pieces two leftovers that are just as large give two, and the area of
    the decoys (0.12 m² of the 0.15 that one takes) is less than another takes."""
    pieces = [rectangle("front", 300.0, 200.0), rectangle("back", 300.0, 220.0), rectangle("band", 300.0, 80.0)]
    remnants = (scrap("a", 300.0, 500.0), scrap("b", 300.0, 500.0), scrap("c", 400.0, 150.0), scrap("d", 400.0, 150.0))
    order = order_of(pieces, [most("briefs", "front", "back", "band")], remnants=remnants)
    plan = plan_remnants(resolve(order), FitsBySearch(SearchOptions(seconds=None, rounds=8)), seconds=None)
    assert [(m.made, m.asked) for m in plan.made] == [(2, None)]
    assert plan.proved and plan.bound == 2.0 and not plan.to_buy
    assert all(prove(lay, order).ok for lay in plan.lays)


def test_leftovers_keep_the_ratio() -> None:
    """By hand: bundles of one square of 300 and two of 150 on a scrap of 300 × 1000: one takes 300 × 450 of it (the
    small ones beside each other), two 300 × 900; the 300 × 100 left over hold nothing."""
    pieces = [rectangle("big", 300.0, 300.0), rectangle("small", 150.0, 150.0)]
    garments = [most("cape", "big", ratio=1), most("cuff", "small", ratio=2)]
    order = order_of(pieces, garments, remnants=(scrap("a", 1000.0, 300.0), scrap("b", 160.0, 320.0)))
    plan = plan_remnants(resolve(order), FitsBySearch(SearchOptions(seconds=None, rounds=16)), seconds=None)
    made = {m.garment: m.made for m in plan.made}
    assert made["cuff"] == 2 * made["cape"] and made["cape"] == 2, made


def test_the_assignment_keeps_the_ratio() -> None:
    """By hand: 10 cm² of leftover, pieces of 4 and 1: without a ratio six of the second and one of the first, or ten of
    the second; at one to two, one and two, as two and four would take 12."""
    big, small = PieceClass("main", "big", "", ""), PieceClass("main", "small", "", "")
    room, areas = {"a": 1000.0}, {big: 400.0, small: 100.0}

    def made(*ratios: int | None) -> tuple[int, ...]:
        kinds = [Kind(c.piece, 20, 1.0, False, ((c, 1),), ratio) for c, ratio in zip((big, small), ratios, strict=True)]
        return assign(kinds, [scrap("a", 50.0, 20.0)], room, areas, [], seconds=5.0).made

    assert made(None, None) == (0, 10)
    assert made(1, 2) == (1, 2)


def test_a_trim_of_garments_of_which_none_is_cut_is_left_out() -> None:
    """The coat, worth less for its cloth, is not cut: nothing of its trim is needed, and nobody is blamed for it."""
    coat, skirt = rectangle("a", 600.0, 1000.0), rectangle("b", 400.0, 1000.0)
    edge = Edge("hem", (-300.0, -500.0), (300.0, -500.0))
    coat = replace(coat, piece=replace(coat.piece, edges=(edge,)))
    tape = Trim("tape", "binding", ("a.hem",), 1.0, True)
    garments = [most("coat", "a"), most("skirt", "b")]
    order = order_of([coat, skirt], garments, cloths=(cloth(1200.0),), trims=(tape,))
    counts, _, lays = laid(order)
    assert {name: n for name, n in counts.items() if n} == {"skirt": 3}
    assert trim_needs(settled_by(resolve(order), lays)) == ()
    # nor where it is not ordered this time
    assert trim_needs(resolve(order_of([coat, skirt], garments[1:], cloths=(cloth(1200.0),), trims=(tape,)))) == ()


def test_a_stop_keeps_as_many_as_were_found() -> None:
    """Stopped at its first lay: whole garments, proved, and no word that no more fit."""
    order = order_of([rectangle("a", 310.0, 290.0)], [most("bag", "a")], cloths=(cloth(1000.0),))
    session = Session(order, SearchOptions(seconds=300.0, workers=2))
    for event in session.start().events():
        if isinstance(event, Better):
            session.stop()
    result = session.wait()
    assert result is not None and result.lays
    (lay,) = result.lays
    told = lay.extra[AS_MANY]
    assert sum(len(section.placements) for section in lay.sections) >= 1
    assert proved((lay,), order_as_laid(order, (lay,)))
    assert not result.stopped or not told["proved"]
