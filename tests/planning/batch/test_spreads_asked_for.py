"""Batches and tables where the cloth may lie in some ways only, or the pieces lie in few; worked out by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

import nesting
from nesting.model.errors import CannotLayError
from nesting.planning.batch.cutting import batch
from nesting.planning.batch.on_table import divided
from nesting.planning.buying.buy import buy
from nesting.planning.layout.laying import laying
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.solve import lay_order
from nesting.proof import prove
from nesting.resolving.resolve import resolve

BY_ROUNDS = SearchOptions(seconds=None, rounds=3, workers=1)
#: a pair of 30 × 20 on 40 cm; each garment takes 30 cm of any fold along the cloth but the double one, whose meeting
#: flaps leave each of the two a place of its own
PAIRS = """units = "cm"
[[piece]]
name = "panel"
rectangle = [30, 20]
cut = 2
mirrored = true
[[cloth]]
name = "main"
width = 40
increment = "1 cm"
{cloth}
[[garment]]
name = "bag"
count = 5
"""
#: a half that may not be opened out, and a single that is wider than half of 60 cm: only on a flap of 10 cm
HALVES = """units = "cm"
[[pattern]]
file = "half.svg"
[[piece]]
name = "half"
fold = "left"
unfold = false
[[piece]]
name = "single"
rectangle = [30, 40]
[[cloth]]
name = "main"
width = 60
increment = "1 cm"
{cloth}
[[garment]]
name = "bag"
count = 3
"""
HALF = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="400mm" viewBox="0 0 200 400"><g id="half">'
    '<path class="cut" d="M50 50 h100 v300 h-100 Z"/><path class="grain" d="M100 300 V100"/></g></svg>'
)


def read(folder: Path, text: str, cloth: str) -> nesting.Order:
    """The order, with its drawing."""
    (folder / "half.svg").write_text(HALF, encoding="utf-8")
    path = folder / "order.toml"
    path.write_text(text.format(cloth=cloth), encoding="utf-8")
    return nesting.load_order(path)


def both(order: nesting.Order) -> tuple[float, float]:
    """What ``lay`` and ``batch`` buy, each lay proved."""
    listed = resolve(order)
    (lay,) = lay_order(listed, BY_ROUNDS, divide=lambda lay, options: divided(listed, lay, options))
    assert prove(lay, order).ok
    (plan,) = batch(listed, laying(BY_ROUNDS), seconds=2.0)
    assert plan.lays and all(prove(one, order).ok for one in plan.lays)
    return lay.buy_length, plan.buy_length


@pytest.mark.parametrize(
    ("text", "cloth", "bought"),
    [
        # five in a row and both ends; on a table for two, 60 + 60 + 30 with 4 cm of ends each
        (PAIRS, 'spreads = ["partial fold"]', 1540.0),
        (PAIRS, 'spreads = ["partial fold"]\ntable_length = 64', 1620.0),
        (PAIRS, 'spreads = ["crosswise fold"]', 1840.0),
        (PAIRS, 'spreads = ["double fold"]\ntable_length = 64', 3200.0),
        (HALVES, "", 940.0),
        (HALVES, "table_length = 64", 980.0),
    ],
)
def test_a_batch_is_no_longer_than_the_lay_however_the_cloth_may_lie(
    tmp_path: Path, text: str, cloth: str, bought: float
) -> None:
    """Where only one fold is allowed, or the pieces lie on flaps only, both find the same."""
    lay, plan = both(read(tmp_path, text, cloth))
    assert lay == pytest.approx(bought) and plan == pytest.approx(bought)


@pytest.mark.parametrize("kind", ["crosswise fold", "sections"])
def test_what_is_not_divided_says_so(tmp_path: Path, kind: str) -> None:
    """Longer than the table, and no way to lie in which sections are planned: refused with what would do."""
    order = read(tmp_path, PAIRS, f'spreads = ["{kind}"]\ntable_length = 34')
    listed = resolve(order)
    for run in (
        lambda: lay_order(listed, BY_ROUNDS, divide=lambda lay, options: divided(listed, lay, options)),
        lambda: batch(listed, laying(BY_ROUNDS), seconds=2.0),
    ):
        with pytest.raises(CannotLayError, match=f"may only lie as '{kind}'.*let it lie open or folded lengthwise"):
            run()


def test_a_tube_is_not_divided_by_a_lay_but_by_a_batch(tmp_path: Path) -> None:
    """Two pairs of 30 × 40 on a tube that is 50 flat: 60 and both ends do not go on 40. Each alone does: 34 + 34."""
    text = PAIRS.replace("[30, 20]", "[30, 40]").replace("count = 5", "count = 2").replace("width = 40", "width = 50")
    order = read(tmp_path, text, "tubular = true\ntable_length = 40")
    listed = resolve(order)
    with pytest.raises(CannotLayError, match="is a tube, is longer than the table: 'nesting batch' plans it in parts"):
        lay_order(listed, BY_ROUNDS, divide=lambda lay, options: divided(listed, lay, options))
    (plan,) = batch(listed, laying(BY_ROUNDS), seconds=2.0)
    assert plan.buy_length == pytest.approx(680.0) and all(prove(one, order).ok for one in plan.lays)


@pytest.mark.parametrize("cloth", ["tubular = true", 'spreads = ["lengthwise fold"]'])
def test_a_cutter_of_one_ply_and_cloth_of_two_are_told(tmp_path: Path, cloth: str) -> None:
    """Nothing can be laid, planned or bought: lay, batch and every row of buy say so, and no curve is drawn."""
    listed = resolve(read(tmp_path, PAIRS, f"max_plies = 1\n{cloth}"))
    for run in (lambda: lay_order(listed, BY_ROUNDS), lambda: batch(listed, laying(BY_ROUNDS), seconds=2.0)):
        with pytest.raises(CannotLayError, match="two plies lie on one another, and max_plies is 1"):
            run()
    bought = buy(listed, laying(BY_ROUNDS))
    assert bought.rows == () and bought.curves == ()
    assert bought.refused and {r.why.code for r in bought.refused} == {"spread.max-plies"}
