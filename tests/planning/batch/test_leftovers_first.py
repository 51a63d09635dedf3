"""One pattern in several colours, planned in one go: leftovers of each first, then sections and plies for the rest."""

from __future__ import annotations

from collections import Counter

from nesting.model.order import Cloth, Garment, Order
from nesting.planning.batch.leftovers_first import batch_all, stocked_cloths
from nesting.planning.layout.laying import laying
from nesting.planning.layout.options import SearchOptions
from nesting.planning.leftovers.cloth_pieces import FitsBySearch
from nesting.proof import prove
from nesting.report.html.buy_page import batch_section, remnants_section
from nesting.report.html.drawn import part_html
from nesting.resolving.resolve import resolve
from nesting.session.events import BatchWork
from nesting.session.session import Session
from tests.planning.area_lays import order_of, rectangle, scrap

ROUNDS = SearchOptions(seconds=None, rounds=2, workers=1)


def colours() -> Order:
    """A body of 500 × 400 and a lining of 200 × 200; three garments in navy, two in grey; of navy two leftovers of
    exactly one body, of grey one that is too small for any."""
    pieces = [rectangle("body", 500.0, 400.0), rectangle("lining", 200.0, 200.0, cloth="thin")]
    plain = {"end_allowance": 0.0, "increment": 1.0}
    cloths = (Cloth("main", 1000.0, **plain), Cloth("navy", 1000.0, **plain), Cloth("grey", 1000.0, **plain),
              Cloth("thin", 1000.0, **plain))  # fmt: skip
    garments = [
        Garment("shorts navy", None, 3, ("body", "lining"), cloth=(("main", "navy"),)),
        Garment("shorts grey", None, 2, ("body", "lining"), cloth=(("main", "grey"),)),
    ]
    scraps = (scrap("n1", 500.0, 400.0, "navy"), scrap("n2", 500.0, 400.0, "navy"), scrap("g1", 300.0, 300.0, "grey"))
    return order_of(pieces, garments, cloths, remnants=scraps)


def planned(order: Order):
    """By rounds."""
    return batch_all(resolve(order), laying(ROUNDS), FitsBySearch(ROUNDS), seconds=None)


def test_leftovers_of_each_colour_come_first() -> None:
    """By hand: two navy bodies come from the two leftovers, one is cut from 500 mm of navy; both grey ones lie beside
    each other on 500 mm of grey; all five linings, also of those from leftovers, lie side by side on 200 mm."""
    order = colours()
    assert stocked_cloths(resolve(order)) == {"navy", "grey"}
    found = planned(order)
    assert found.leftovers is not None
    assert {m.garment: m.made for m in found.leftovers.made} == {"shorts navy": 2, "shorts grey": 0}
    assert [(p.cloth, p.counts, p.buy_length) for p in found.plans] == [
        ("navy", (1,), 500.0),
        ("grey", (2,), 500.0),
        ("thin", (3, 2), 200.0),
    ]
    assert all(prove(lay, order).ok for lay in found.lays)


def test_every_garment_gets_every_piece_once() -> None:
    """Leftovers and parts together hold each copy's pieces exactly once, by the numbers on their labels."""
    found = planned(colours())
    held = Counter((h.garment, h.copy, h.piece) for lay in found.lays for h in lay.holds or () for _ in range(h.count))
    wanted = {(f"shorts {c}", n, piece) for c, many in (("navy", 3), ("grey", 2)) for n in range(1, many + 1)
              for piece in ("body", "lining")}  # fmt: skip
    assert held == Counter(dict.fromkeys(wanted, 1))


def test_a_colour_that_leftovers_give_whole_is_not_bought() -> None:
    """Two garments, two leftovers: no plan for navy, and linings for both."""
    order = colours()
    two = order_of(
        order.pieces,
        [Garment("shorts navy", None, 2, ("body", "lining"), cloth=(("main", "navy"),))],
        order.cloths,
        remnants=order.remnants,
    )
    found = planned(two)
    assert [(p.cloth, p.counts) for p in found.plans] == [("thin", (2,))]


def test_without_leftovers_it_is_the_plain_batch() -> None:
    """Each colour has its plan, and nothing is told of leftovers."""
    order = colours()
    found = planned(order_of(order.pieces, order.garments, order.cloths))
    assert found.leftovers is None and [p.cloth for p in found.plans] == ["navy", "grey", "thin"]
    assert "leftovers" not in found.as_dict()


def test_a_session_gives_lays_of_both_and_the_report_shows_both() -> None:
    """In one go: every lay proved, leftovers' first; both sections of the report can be made."""
    order = colours()
    with Session(order, ROUNDS, BatchWork()) as session:
        result = session.wait()
    assert result is not None and all(v.ok for v in result.verdicts)
    assert [lay.remnant or lay.cloth for lay in result.lays] == ["n1", "n2", "navy", "grey", "thin"]
    assert len(batch_section(result.answer.plans)["plans"]) == 3
    assert "2 whole garments" in remnants_section(result.answer.leftovers)["head"]
    assert result.answer.as_dict()["leftovers"]["number"] == 2
    # what is bought stands in the plans of the batch: nobody is told that nothing has to be
    told = part_html("plan of leftovers", remnants_section(result.answer.leftovers, batch_follows=True))
    assert "cut from cloth that is bought, as below" in told and "Nothing has to be bought" not in told


def test_what_is_told_on_the_way_has_every_cloth() -> None:
    """Nothing is told before every cloth has a plan, so that a search that is ended leaves none out."""
    told = []
    order = colours()
    batch_all(resolve(order), laying(ROUNDS), FitsBySearch(ROUNDS), seconds=None, on_batch=told.append)
    assert told and all([p.cloth for p in b.plans] == ["navy", "grey", "thin"] for b in told)
    assert all(b.leftovers is not None for b in told)
