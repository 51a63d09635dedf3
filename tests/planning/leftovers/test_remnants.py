"""Whole garments from leftovers: known optima, refusals fed back, reasons, and names put back."""

from __future__ import annotations

import importlib.util
import random
import re
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from nesting.files.lays.layfile import lay_as_bytes, read_lay
from nesting.model.errors import OrderError
from nesting.model.lay import PieceHeld, Placement
from nesting.model.order import Cloth, Garment
from nesting.model.piece import Piece
from nesting.model.units import format_exceeding
from nesting.planning.layout.options import SearchOptions
from nesting.planning.leftovers.cloth_pieces import (
    FitsBySearch,
    PieceClass,
    Unit,
    copy_numbers,
    lay_with_only,
    renumbered,
    stacks_of_units,
)
from nesting.planning.leftovers.remnants import plan_remnants
from nesting.proof import prove
from nesting.proof.edited import judgement_of
from nesting.proof.holding import holds_of
from nesting.report.html.buy_page import proof_words
from nesting.resolving.resolve import resolve
from tests.planning.area_lays import AreaLay, lay_of, order_of, rectangle, scrap, shape
from tests.planning.leftovers.remnant_cases import CASES, worth_more_than_many

#: seconds, for what ends by its proof: nothing waits for them but a failure
LONG = 600.0


class Judge:
    """Fits by a rule of the test's own; remembers what was asked."""

    efforts = 1

    def __init__(self, rule, proof=lambda remnant, pieces: None):
        self.rule, self.proof = rule, proof
        self.asked: list[tuple[str, tuple[str, ...]]] = []

    @staticmethod
    def _pieces(units):
        return tuple(sorted(u.kind.piece for u in units))

    def refuses(self, order, units, remnant):
        """By the rule of proof."""
        return self.proof(remnant.name, self._pieces(units))

    def lay(self, order, units, remnant, effort):
        """By the rule."""
        pieces = self._pieces(units)
        self.asked.append((remnant.name, pieces))
        if not self.rule(remnant.name, pieces):
            return None
        return lay_of(order, order.cloth_named(units[0].kind.cloth), 1.0, remnant=remnant.name)


def by_rounds():
    """A real search of each fit, which ends by its work."""
    return FitsBySearch(SearchOptions(seconds=None, rounds=40))


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.__name__)
def test_the_optimum_is_reached_and_proved(case):
    """The greatest number of garments, known by construction, with real bounds and a real search."""
    order, number = case()
    plan = plan_remnants(resolve(order), by_rounds(), seconds=LONG)
    assert plan.number == number
    assert plan.proved and plan.value == plan.bound
    assert plan.reason is not None or number == sum(g.count for g in order.garments)
    # every cloth piece of every garment made is there exactly once
    wanted = Counter()
    for made, garment in zip(plan.made, order.garments, strict=True):
        for name in garment.pieces:
            wanted[garment.name, garment.size, name] += made.made * order.cut_piece(name, garment.size).cut
    assert Counter((u.garment, u.size, u.piece) for u in plan.uses) == +wanted
    laid = Counter((p.garment, p.size, p.piece) for lay in plan.lays for p in lay.placements)
    assert laid == +wanted
    if any(g.same_cloth for g in order.garments):
        assert len({(u.garment, u.copy, u.remnant) for u in plan.uses}) == plan.number


def briefs(count=2, **how):
    """Front and back of 100 × 100 each."""
    pieces = [rectangle("front", 100.0, 100.0), rectangle("back", 100.0, 100.0)]
    return pieces, [Garment("briefs", None, count, ("front", "back"), **how)]


def test_a_refusal_by_the_search_sends_pieces_elsewhere():
    """Area says that two pieces go on a remnant; the search finds room for one only; four remnants take one each."""
    pieces, garments = briefs()
    remnants = tuple(scrap(name, 200.0, 200.0 + i) for i, name in enumerate("abcd"))
    judge = Judge(lambda name, load: len(load) <= 1)
    plan = plan_remnants(resolve(order_of(pieces, garments, remnants=remnants)), judge, seconds=LONG)
    assert plan.number == 2
    assert Counter(u.remnant for u in plan.uses) == dict.fromkeys("abcd", 1)
    assert plan.proved  # all that was asked for is made
    refused = [asked for asked in judge.asked if len(asked[1]) > 1]
    assert refused and len(refused) == len(set(refused))  # what is refused is not tried again


def test_a_refusal_is_traced_to_the_fewest_pieces():
    """Twelve pieces on a large remnant where nothing above three lies: one garment more shows it, with four."""
    pieces, garments = briefs(6)
    judge = Judge(lambda name, load: len(load) <= 3)
    order = order_of(pieces, garments, remnants=(scrap("a", 500.0, 500.0),))
    plan = plan_remnants(resolve(order), judge, seconds=LONG)
    assert plan.number == 1
    assert len(judge.asked) <= 4
    assert all(text.startswith("a: ") for text in plan.refused)
    # no refusal is kept that a smaller one makes needless
    assert all(sum(int(n) for n in re.findall(r"(\d+) ×", text)) == 4 for text in plan.refused)


def test_what_the_search_alone_refuses_is_not_called_proved():
    """No room found is no proof: the bound by area stands above the value, and the reason says so."""
    pieces, garments = briefs()
    order = order_of(pieces, garments, remnants=(scrap("a", 200.0, 200.0),))
    plan = plan_remnants(resolve(order), Judge(lambda name, load: len(load) <= 3), seconds=LONG)
    assert (plan.number, plan.value, plan.bound, plan.proved) == (1, 1.0, 2.0, False)
    assert "not proved" in plan.reason
    proof = Judge(lambda name, load: len(load) <= 3, lambda name, load: "too long" if len(load) > 3 else None)
    proved = plan_remnants(resolve(order), proof, seconds=LONG)
    assert (proved.number, proved.bound, proved.proved) == (1, 1.0, True)


def test_a_piece_that_is_too_wide_is_told_with_the_figures():
    """70 cm across the grain on a scrap of 60: both figures, and no hand, as it is cut once."""
    pieces = [rectangle("band", 200.0, 700.0)]
    order = order_of(pieces, [Garment("top", None, 1, ("band",))], remnants=(scrap("home", 900.0, 600.0),))
    plan = plan_remnants(resolve(order), FitsBySearch(SearchOptions(seconds=None, rounds=1)), seconds=20.0)
    assert plan.number == 0
    assert plan.reason.startswith("top: piece 'band' cannot lie on the remnant of 'main', not even alone; home: ")
    assert "it needs 70 cm across the cloth, where 60 cm are usable" in plan.reason


def test_remnants_of_one_shape_share_what_is_known():
    """Three equal remnants: the load that one of them refuses is not tried on the others."""
    pieces, garments = briefs(3)
    order = order_of(pieces, garments, remnants=tuple(scrap(n, 200.0, 200.0) for n in "abc"))
    judge = Judge(lambda name, load: len(load) <= 2)
    plan = plan_remnants(resolve(order), judge, seconds=LONG)
    assert plan.number == 3
    refused = [load for _, load in judge.asked if len(load) > 2]
    assert len(refused) == len(set(refused))


def test_copies_are_numbered_as_they_are_cut():
    """The first copy comes to nothing, the second is whole: it is number 1, in the plan, on the lay and in what the lay
    holds. A second entry of the same garment goes on counting."""
    pieces, garments = briefs(2)
    order = order_of(pieces, garments, remnants=(scrap("a", 500.0, 100.0), scrap("b", 200.0, 100.0)))
    numbers = copy_numbers(resolve(order), {(0, 2)})
    assert numbers == {(0, 2): 1}
    units = [Unit(PieceClass("main", "front", "", ""), 0, "briefs", 2, 0)]
    placement = Placement("front", "briefs", None, 1, 0.0, 0.0, 0.0, False, (0,), False, False, 1, Piece("front", ()))
    lay = lay_of(order, order.cloths[0], 1.0)
    lay = replace(lay, sections=(replace(lay.sections[0], placements=(placement,)),))
    own = renumbered(lay, units, resolve(order), {(0, 2): 7})
    assert own.placements[0].copy == 7 and own.holds == (PieceHeld("briefs", None, 7, "front", None, 1),)
    twice = order_of(pieces, [*garments, *garments])
    assert copy_numbers(resolve(twice), {(0, 1), (1, 1), (1, 2)}) == {(0, 1): 1, (1, 1): 2, (1, 2): 3}
    # nothing is said of a number that is not cut
    judge = Judge(lambda name, load: name == "a")
    plan = plan_remnants(resolve(order), judge, seconds=0.0)
    assert {u.copy for u in plan.uses} == {1}
    assert all(h.copy == 1 for lay in plan.lays for h in lay.holds)


def test_garments_come_one_by_one_and_each_is_kept():
    """However many are asked for, the first garment is laid first and alone, and stays."""
    pieces, garments = briefs(5)
    order = order_of(pieces, garments, remnants=(scrap("a", 500.0, 300.0),))
    judge = Judge(lambda name, load: len(load) <= 4)
    plan = plan_remnants(resolve(order), judge, seconds=LONG)
    assert plan.number == 2
    assert judge.asked[0] == ("a", ("back", "front"))
    assert judge.asked[1] == ("a", ("back", "back", "front", "front"))
    # with no time at all the first garment is there all the same
    assert plan_remnants(resolve(order), Judge(lambda name, load: len(load) <= 4), seconds=0.0).number == 1


def test_more_effort_tries_again_what_less_did_not_find():
    """The second grade of effort lays what the first one missed; nothing of the first is lost."""

    class Doubling(Judge):
        efforts = 2

        def lay(self, order, units, remnant, effort):
            self.rule = lambda name, load: len(load) <= 2 * (effort + 1)
            return super().lay(order, units, remnant, effort)

    pieces, garments = briefs(3)
    order = order_of(pieces, garments, remnants=(scrap("a", 500.0, 300.0),))
    plan = plan_remnants(resolve(order), Doubling(None), seconds=LONG)
    assert plan.number == 2
    assert not any("2 ×" in text for text in plan.refused)  # what was found to lie is no refusal any more


def test_pieces_of_a_broken_garment_are_taken_off_a_lay():
    """What lies, lies with less: the lay of three pieces without the one of the copy that came to nothing."""
    pieces, garments = briefs(2)
    order = order_of(pieces, garments, remnants=(scrap("a", 310.0, 110.0),))
    front, back = (PieceClass("main", name, "", "") for name in ("front", "back"))
    units = [Unit(front, 0, "briefs", 1, 0), Unit(front, 0, "briefs", 2, 0), Unit(back, 0, "briefs", 2, 0)]
    remnant = order.remnants[0]
    lay = FitsBySearch(SearchOptions(rounds=4)).lay(resolve(order), units, remnant, 2)
    assert (
        lay is not None
        and len(lay.placements) == 3
        and prove(renumbered(lay, units, resolve(order), {(0, 1): 1, (0, 2): 2}), order).ok
    )
    less = lay_with_only(lay, units, units[1:], resolve(order), remnant)
    own = renumbered(less, units[1:], resolve(order), {(0, 2): 1})
    assert [(p.piece, p.copy) for p in own.placements] == [("front", 1), ("back", 1)]
    assert prove(own, order).ok, prove(own, order).failures


def test_what_must_still_be_bought_is_said():
    """One of three comes from the leftover; two are bought, and lining for all three as there is none at all."""
    pieces = [rectangle("shell", 100.0, 100.0), rectangle("lining", 100.0, 90.0, cloth="lining")]
    cloths = [Cloth("main", 1000.0, price=10.0), Cloth("lining", 1000.0)]
    order = order_of(
        pieces, [Garment("briefs", None, 3, ("shell", "lining"))], cloths, remnants=(scrap("a", 100.0, 100.0),)
    )
    plan = plan_remnants(resolve(order), Judge(lambda name, load: True), lay=AreaLay(0.8), seconds=LONG)
    assert plan.number == 1
    assert [(b.cloth, b.garments) for b in plan.to_buy] == [("main", (("briefs", 2),)), ("lining", (("briefs", 3),))]
    main = plan.to_buy[0]
    assert main.lay_length == pytest.approx(2 * 10_000.0 / 1000.0 / 0.8)
    assert main.buy_length == 100.0 and main.cost == pytest.approx(1.0)
    assert plan.as_dict()["to_buy"][1]["garments"] == [{"garment": "briefs", "count": 3}]


def test_an_order_without_remnants_says_what_to_do():
    """The message names the cloth and the table to add."""
    pieces, garments = briefs()
    with pytest.raises(OrderError, match=r"no remnants of main .*\[\[remnant\]\]"):
        plan_remnants(resolve(order_of(pieces, garments)), Judge(lambda *_: True))


def test_value_weighs_more_than_number():
    """Of two garments on one place the dearer one is made; the other is listed as not made."""
    pieces = [rectangle("a", 100.0, 100.0), rectangle("b", 100.0, 100.0)]
    garments = [Garment("plain", None, 1, ("a",)), Garment("fine", None, 1, ("b",), value=3.5)]
    plan = plan_remnants(
        resolve(order_of(pieces, garments, remnants=(scrap("r", 100.0, 100.0),))), Judge(lambda *_: True)
    )
    assert [(m.garment, m.made) for m in plan.made] == [("plain", 0), ("fine", 1)]
    assert plan.value == plan.bound == 3.5


def test_the_reason_by_area_gives_the_figures():
    """One more takes 200 cm²; of 350 cm² there are 150 left."""
    pieces, garments = briefs(2)
    order = order_of(pieces, garments, remnants=(scrap("a", 350.0, 100.0),))
    plan = plan_remnants(resolve(order), Judge(lambda *_: True))
    assert plan.number == 1
    assert plan.reason == "briefs: one more takes 200 cm² of 'main', but of the remnants' 350 cm² only 150 cm² are left"


def test_figures_of_a_reason_differ_as_printed():
    """One more takes 100.4 cm², and of 200.6 cm² there are 100.2 left: both are 100 without a decimal."""
    order = order_of(
        [rectangle("a", 100.4, 100.0)],
        [Garment("g", None, 2, ("a",))],
        remnants=(scrap("r", 100.0, 100.0), scrap("s", 100.6, 100.0)),
    )
    plan = plan_remnants(resolve(order), Judge(lambda *_: True))
    assert plan.number == 1 and plan.reason is not None
    assert "one more takes 100.4 cm²" in plan.reason and "only 100.2 cm² are left" in plan.reason
    # a length that is at least so much is rounded down: 280.199 mm are not "at least 28.02 cm"
    assert format_exceeding(280.199, 280.0, imperial=False) == ("28.01 cm", "28.00 cm")
    assert format_exceeding(280.001, 280.0, imperial=False) == ("28.0001 cm", "28.0000 cm")
    assert format_exceeding(25.4 * 3, 25.4, imperial=True) == ("3 in", "1 in")
    # as rulers have it: 30.2 in are 30 1/8 at least; an eighth does not tell 9.06 from 9, a sixteenth neither
    assert format_exceeding(25.4 * 30.2, 25.4 * 27.5, imperial=True) == ("30 1/8 in", "27 1/2 in")
    assert format_exceeding(25.4 * 9.07, 25.4 * 9.0, imperial=True) == ("9 1/16 in", "9 in")
    assert format_exceeding(25.4 * 9.06, 25.4 * 9.0, imperial=True) == ("9.06 in", "9.00 in")


def test_what_is_worth_most_is_not_called_the_most_garments():
    """Three small ones worth 1 each, or one large worth 5: none is worth more, though another gives more garments."""
    order, _ = worth_more_than_many()
    plan = plan_remnants(resolve(order), FitsBySearch(SearchOptions(rounds=4)), seconds=None)
    assert plan.number == 1 and plan.value == 5.0 and plan.by_worth and plan.proved
    assert proof_words(plan) == "no plan is worth more than 5"
    # a worth that happens to be the number of garments is no number of garments
    open_ = replace(plan, proved=False, value=1.0, bound=3.0)
    assert "worth 1, where more than 3 is impossible" in proof_words(open_)
    # never less than it is
    assert "more than 1.235 is impossible" in proof_words(replace(open_, bound=1.23412))
    assert "more than 1234567.5 is impossible" in proof_words(replace(open_, bound=1234567.5))


def test_a_left_piece_is_laid_flipped():
    """A leftover is asked for the hands that its units have: the left one lies printed side down."""
    ring = ((0.0, 0.0), (30.0, 0.0), (30.0, 10.0), (0.0, 20.0))
    order = order_of([shape("side", ring, cut=2, mirrored=True)], [Garment("shorts", None, 1, ("side",))])
    order = replace(order, remnants=(scrap("a", 100.0, 100.0),))
    plan = plan_remnants(resolve(order), FitsBySearch(SearchOptions(rounds=4)), seconds=None)
    assert {u.hand for u in plan.uses} == {"right", "left"}
    (lay,) = plan.lays
    assert sorted(p.flipped for p in lay.placements) == [False, True]
    assert prove(lay, order).ok


def test_copies_whose_pieces_lie_on_different_leftovers_are_told_apart():
    """Two copies of one garment, of which a leftover holds the front of one and the back of the other."""
    pieces, garments = briefs(2)
    order = order_of(pieces, garments, remnants=(scrap("a", 220.0, 120.0),))
    front, back = (PieceClass("main", name, "", "") for name in ("front", "back"))
    units = [Unit(front, 0, "briefs", 1, 0), Unit(back, 0, "briefs", 2, 0)]
    assert [len({n.copy for n in s.needs}) for s in stacks_of_units(resolve(order), units)] == [1, 1]
    lay = FitsBySearch(SearchOptions(rounds=4)).lay(resolve(order), units, order.remnants[0], 2)
    own = renumbered(lay, units, resolve(order), {(0, 1): 1, (0, 2): 2})
    assert {(p.piece, p.copy) for p in own.placements} == {("front", 1), ("back", 2)}
    assert prove(own, order).ok, prove(own, order).failures


@pytest.mark.parametrize("name", ["a_pair_split_over_two", "pieces_spread_over_three"])
def test_lays_on_leftovers_pass_the_independent_proof(split, name):
    """Also where left and right, or front and back, come from different leftovers."""
    order, plan, number = split[name]
    assert plan.number == number
    assert len(plan.lays) >= 2
    for lay in plan.lays:
        verdict = prove(lay, order)
        assert verdict.ok, verdict.failures


@pytest.fixture(scope="module")
def split():
    """The order and plan of garments whose pieces come from different leftovers, left and right of a pair, too."""
    found = {}
    for name in ("a_pair_split_over_two", "pieces_spread_over_three"):
        order, number = next(case for case in CASES if case.__name__ == name)()
        found[name] = (order, plan_remnants(resolve(order), by_rounds(), seconds=LONG), number)
    return found


def test_a_lay_of_parts_is_proved_from_the_order_itself(split, tmp_path):
    """As it is written and read again: it says which pieces of which copy it holds, and holds just these."""
    for order, plan, _ in split.values():
        for number, lay in enumerate(plan.lays):
            path = tmp_path / f"{number}.json"
            path.write_bytes(lay_as_bytes(lay))
            again = read_lay(path)
            assert again.holds == lay.holds and again.holds
            verdict = prove(again, order)
            assert verdict.ok, verdict.failures
            judged = judgement_of(path, order)
            assert judged.verdict.ok and judged.redrawn_verdict.ok
            assert any("some pieces only of" in f.message for f in judged.findings)


def _changed(lay, n, **how):
    """The lay with the n-th thing that it holds changed."""
    return replace(lay, holds=tuple(replace(h, **how) if i == n else h for i, h in enumerate(lay.holds)))


def test_a_lay_that_does_not_hold_what_it_says_is_refused(split):
    """A piece that is not there, one too many, another copy or hand, and what the order does not ask for."""
    order, plan, _ = split["a_pair_split_over_two"]
    lay = plan.lays[0]
    held = lay.holds[0]
    assert held.hand in ("right", "left") and order.cut_piece(held.piece, held.size).cut == 2
    missing = replace(lay, sections=(replace(lay.sections[0], placements=lay.placements[1:]),))
    other = "left" if held.hand == "right" else "right"
    spoiled = [
        (missing, {"count", "copy", "garments"}),
        (replace(lay, holds=lay.holds[1:]), {"count"}),
        (_changed(lay, 0, hand=other), {"hand", "count", "copy", "garments"}),
        (_changed(lay, 0, copy=held.copy + 1), {"copy", "garments"}),
        (_changed(lay, 0, count=2), {"garments", "count", "copy"}),
        (_changed(lay, 0, piece="sleeve"), {"garments"}),
        (replace(lay, holds=()), {"count"}),
        (replace(lay, holds=None), {"count", "copy", "hand"}),
        (replace(lay, remnant=None), {"garments"}),
    ]
    for wrong, kinds in spoiled:
        verdict = prove(wrong, order)
        assert not verdict.ok and {f.kind for f in verdict.failures} & kinds, (kinds, verdict.failures)
    # the lay may agree with itself, but not with the order
    for beyond, words in (({"copy": 99}, "no. 99, but"), ({"count": 3}, "needs 2, not 3")):
        _, failures = holds_of(_changed(lay, 0, **beyond), order)
        assert any(words in f.message for f in failures), failures
    # a piece that lies wrongly is found as in any lay
    moved = replace(lay.placements[0], y=lay.placements[0].y - 50.0)
    shifted = replace(lay, sections=(replace(lay.sections[0], placements=(moved, *lay.placements[1:])),))
    assert "shape" in {f.kind for f in prove(shifted, order).failures}


def test_whole_garments_on_one_leftover_are_proved_from_the_order():
    """A lay with the order's own names, as it is written to a file."""
    order, _ = next(case for case in CASES if case.__name__ == "same_cloth_forbids_mixing")()
    plan = plan_remnants(resolve(order), by_rounds(), seconds=LONG)
    (lay,) = plan.lays
    assert prove(lay, order).ok


@pytest.mark.parametrize("case", [0, 1, 5])
def test_more_never_gives_less(case):
    """One garment more asked, more rounds, or a leftover more; the script runs many more of these random orders."""
    monotone = _script()
    rng = random.Random(case)
    assert monotone.losses(monotone.random_order(rng), rng) == []


def _script():
    path = Path(__file__).resolve().parents[3] / "scripts" / "remnants_monotone.py"
    spec = importlib.util.spec_from_file_location("remnants_monotone", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
