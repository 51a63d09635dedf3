"""What is said of leftovers: no plan gives more, more are impossible, and why; each with a near miss."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from nesting.model.order import Garment
from nesting.planning.layout.options import SearchOptions
from nesting.planning.leftovers.cloth_pieces import FitsBySearch
from nesting.planning.leftovers.remnants import plan_remnants
from nesting.report.html.buy_page import found_words, proof_words
from nesting.resolving.resolve import resolve
from tests.planning.area_lays import order_of, rectangle, scrap, shape
from tests.planning.leftovers.test_remnants import LONG, Judge

BY_ROUNDS = FitsBySearch(SearchOptions(seconds=None, rounds=4))


def square(count: int, *remnants, **how):
    """Garments of one square of 100 × 100."""
    return order_of([rectangle("a", 100.0, 100.0)], [Garment("g", None, count, ("a",), **how)], remnants=remnants)


def test_no_plan_gives_more_is_said_where_none_does() -> None:
    """By hand: 199 × 100 hold one square, as two side by side would be 200 long; 200 × 100 hold two. By area 199 × 101
    would hold two as well (201 cm² for 200), so there the length proves it."""
    for along, across, there in ((199.0, 100.0, 1), (200.0, 100.0, 2), (199.0, 101.0, 1), (200.0, 101.0, 2)):
        plan = plan_remnants(resolve(square(3, scrap("r", along, across))), BY_ROUNDS, seconds=None)
        assert plan.number == there, (along, across)
        assert plan.proved and proof_words(plan) == "no plan gives more"
        assert plan.value == plan.bound == there


def test_no_plan_gives_more_is_not_said_for_what_was_only_not_found() -> None:
    """Room for two by area and length, of which a search finds one: two are not impossible, and more than two are."""
    plan = plan_remnants(
        resolve(square(5, scrap("r", 250.0, 100.0))), Judge(lambda name, load: len(load) < 2), seconds=LONG
    )
    assert plan.number == 1 and not plan.proved
    words = proof_words(plan)
    assert "no plan" not in words and "not proved to be the most" in words and "more than 2 are impossible" in words
    assert plan.reason == "the search found no room for more in its time; that there is none is not proved"


def test_room_for_none_is_not_claimed_where_none_was_found() -> None:
    """By hand: a square on a square leftover lies, also where this search does not find it; on one 1 mm shorter it
    cannot, and that is proved."""
    vain = Judge(lambda name, load: False)
    plan = plan_remnants(resolve(square(2, scrap("r", 100.0, 100.0))), vain, seconds=LONG)
    assert plan.number == 0 and not plan.proved and found_words(plan) == "no whole garment found yet on the leftovers"
    assert proof_words(plan).startswith("that there is room for none is not proved: more than 1 are impossible")
    short = plan_remnants(resolve(square(2, scrap("r", 99.0, 102.0))), BY_ROUNDS, seconds=None)
    assert short.number == 0 and short.proved and short.bound == 0.0
    assert found_words(short) == "0 whole garments from leftovers" and proof_words(short) == "no plan gives more"
    assert short.reason is not None and "it needs 10 cm along the cloth" in short.reason, short.reason


def test_more_are_impossible_is_never_less_than_what_area_allows() -> None:
    """By area 3.99 squares: more than three are impossible; of exactly four more than four are, not more than three."""
    for along, most in ((399.0, 3), (400.0, 4)):
        vain = Judge(lambda name, load: len(load) < 2)
        plan = plan_remnants(resolve(square(9, scrap("r", along, 100.0))), vain, seconds=LONG)
        assert not plan.proved and f"more than {most} are impossible" in proof_words(plan)


def test_no_division_gives_more_names_what_proves_it() -> None:
    """Two pieces that are proved not to lie on one leftover together: of two leftovers each holds one, so one garment;
    area alone would allow two. Where they are only not found to lie so, that is said."""
    pieces = [rectangle("a", 100.0, 100.0), rectangle("b", 100.0, 100.0)]
    remnants = (scrap("r", 200.0, 100.0), scrap("s", 200.0, 100.0))
    order = order_of(pieces, [Garment("g", None, 2, ("a", "b"))], remnants=remnants)

    def single(name, load):
        return len(load) <= 1

    proof = Judge(single, lambda name, load: "one too many" if len(load) > 1 else None)
    plan = plan_remnants(resolve(order), proof, seconds=LONG)
    assert (plan.number, plan.bound, plan.proved) == (1, 1.0, True)
    assert plan.reason is not None and plan.reason.startswith("no division of the pieces over the remnants gives more")
    assert any("one too many" in text for text in plan.refused)
    found = plan_remnants(resolve(order), Judge(single), seconds=LONG)
    assert (found.number, found.bound, found.proved) == (1, 2.0, False)
    assert found.reason is not None and "not proved" in found.reason and "no division" not in found.reason


def test_a_piece_finds_at_most_so_many_places() -> None:
    """By hand: bands of 300 × 50 lie on the long leftover only, which holds four by area (601 × 100 mm, 150 cm² each);
    the short one has area enough for the rest, but not one band lies on it."""
    pieces = [rectangle("band", 300.0, 50.0)]
    remnants = (scrap("long", 601.0, 100.0), scrap("short", 250.0, 250.0))
    order = order_of(pieces, [Garment("belt", None, 9, ("band",))], remnants=remnants)
    plan = plan_remnants(resolve(order), BY_ROUNDS, seconds=None)
    assert plan.number == 4 and plan.proved
    assert plan.reason == (
        "belt: piece 'band' finds at most 4 places on the remnants that can hold it (long), and 4 are taken"
    )
    # a leftover more that holds one: five, and it is named
    more = replace(order, remnants=(*remnants, scrap("strip", 300.0, 50.0)))
    plan = plan_remnants(resolve(more), BY_ROUNDS, seconds=None)
    assert plan.number == 5 and plan.reason is not None and "at most 5 places" in plan.reason
    assert "(long, strip), and 5 are taken" in plan.reason


@pytest.mark.parametrize("same", [True, False])
def test_all_pieces_from_one_leftover(same: bool) -> None:
    """By hand: two squares of 100 cm² on two leftovers of 150 cm²: none from one leftover, one from both."""
    pieces = [rectangle("a", 100.0, 100.0), rectangle("b", 100.0, 100.0)]
    remnants = (scrap("r", 150.0, 100.0), scrap("s", 150.0, 100.0))
    order = order_of(pieces, [Garment("g", None, 1, ("a", "b"), same_cloth=same)], remnants=remnants)
    plan = plan_remnants(resolve(order), BY_ROUNDS, seconds=None)
    assert plan.number == (0 if same else 1) and plan.proved
    if same:
        assert plan.reason == (
            "g: all its pieces of 'main' are to come from one remnant and take 200 cm², but the largest has 150 cm²"
        )


def test_areas_are_told_in_the_orders_unit() -> None:
    """By hand: a garment of 4 × 3 and 1 × 4 in takes 16 sq in; of 8 × 3 and 1 × 4, 28 sq in, one leaves 12."""
    order = order_of(
        [rectangle("a", 101.6, 76.2), rectangle("b", 25.4, 101.6)],
        [Garment("g", None, 2, ("a", "b"))],
        remnants=(scrap("r", 203.2, 76.2), scrap("s", 25.4, 101.6)),
        units="in",
    )
    plan = plan_remnants(resolve(order), BY_ROUNDS, seconds=None)
    assert plan.number == 1 and plan.reason is not None
    assert "one more takes 16 sq in of 'main', but of the remnants' 28 sq in only 12 sq in are left" in plan.reason


def test_a_bound_in_words_differs_as_printed() -> None:
    """By hand: three bands of 333.4 × 100 side by side would be 100.02 cm on 100 cm; by area there is room for them, as
    the leftover is 101 mm wide. Told rounded down, and to differ."""
    order = order_of(
        [rectangle("band", 333.4, 100.0)], [Garment("g", None, 3, ("band",))], remnants=(scrap("r", 1000.0, 101.0),)
    )
    plan = plan_remnants(resolve(order), BY_ROUNDS, seconds=None)
    assert plan.number == 2 and plan.proved
    (why,) = [text for text in plan.refused if "at least" in text]
    found = re.search(r"they take at least ([\d.]+) cm of its ([\d.]+) cm", why)
    assert found is not None and 100.0 == float(found[2]) < float(found[1]) <= 100.02, why


def test_a_refused_piece_is_called_left_or_right_only_where_that_tells_something() -> None:
    """By hand: 100 x 100 does not lie on 99 x 102. Cut once it has no hand to tell; cut as a pair both hands are
    refused for one reason, which is told once; a pair together is told as the two that it is."""
    ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 60.0), (0.0, 100.0))
    for cut, mirrored in ((1, False), (2, True)):
        piece = shape("a", ring, cut=cut, mirrored=mirrored)
        order = order_of([piece], [Garment("g", None, 1, ("a",))], remnants=[scrap("r", 99.0, 102.0)])
        refused = plan_remnants(resolve(order), BY_ROUNDS, seconds=None).refused
        assert len(refused) == 1, refused
        assert refused[0].startswith("r: 1 × a does not lie on it (proven: "), refused
    pair = shape("a", ring, cut=2, mirrored=True)
    order = order_of([pair], [Garment("g", None, 1, ("a",), same_cloth=True)], remnants=[scrap("r", 130.0, 130.0)])
    refused = plan_remnants(resolve(order), BY_ROUNDS, seconds=None).refused
    assert refused and all("1 × a left, 1 × a right do not lie" in text for text in refused), refused
