"""Random orders cut as a batch and in one lay: the batch never takes more cloth.

    python scripts/batch_and_lay.py [--orders 30] [--first 0] [--rounds 6]

Rectangles, pairs and halves on the fold, with and without gaps, ends, selvages and shrinkage; one to four plies. Every
lay of a batch is proved, and what its parts take together is what the plan says. One line for each order; at last how
many batches take more than the lay (0 is what is wanted), and how many take less.
"""

from __future__ import annotations

import argparse
import math
import random
import sys

from nesting.model.order import Cloth, CutPiece, Garment, Order
from nesting.model.piece import Piece
from nesting.planning.batch.cutting import batch
from nesting.planning.layout.laying import laying
from nesting.planning.layout.options import SearchOptions
from nesting.proof import prove
from nesting.resolving.resolve import resolve


def random_order(seed: int) -> Order:
    """One to three garments of one or two pieces, one to four of each, mm; the same for the same seed."""
    rng = random.Random(seed)
    pieces: list[CutPiece] = []
    garments: list[Garment] = []
    for g in range(rng.randint(1, 3)):
        names = []
        for k in range(rng.randint(1, 2)):
            a, b = rng.randint(8, 60) * 10.0, rng.randint(8, 45) * 10.0
            half = rng.random() < 0.2
            low, high = (0.0, b) if half else (-b / 2, b / 2)
            ring = ((-a / 2, low), (a / 2, low), (a / 2, high), (-a / 2, high))
            fold = ((-a / 2, 0.0), (a / 2, 0.0)) if half else None
            middle = (low + high) / 2
            piece = Piece(f"{'abc'[g]}{k}", ring, grainline=((-a / 4, middle), (a / 4, middle)), fold=fold)
            both = not half and rng.random() < 0.4
            pieces.append(CutPiece(piece, None, cut=2 if both else 1, mirrored=both))
            names.append(piece.name)
        garments.append(Garment(f"garment {'abc'[g]}", None, rng.randint(1, 4), tuple(names)))
    cloth = Cloth(
        "main",
        rng.choice((950.0, 1150.0, 1400.0)),
        selvage=rng.choice((0.0, 10.0)),
        gap=rng.choice((0.0, 3.0, 10.0)),
        end_allowance=rng.choice((0.0, 20.0)),
        shrink_along=rng.choice((0.0, 0.05)),
        increment=rng.choice((1.0, 100.0)),
        max_plies=rng.choice((None, 1, 2, 4)),
    )
    return Order("random", "mm", None, "", tuple(pieces), (cloth,), tuple(garments))


def taken(order: Order, rounds: int) -> tuple[float, float, float, float]:
    """What the batch and the lay take: cloth of both, length to buy of both, mm. Every lay of the batch is proved."""
    listed = resolve(order)
    options = SearchOptions(seconds=None, rounds=rounds)
    (plan,) = batch(listed, laying(options))
    for lay in plan.lays:
        verdict = prove(lay, order)
        assert verdict.ok, verdict.failures
    parts = math.fsum(lay.buy_length for lay in plan.lays)
    # a lay that holds all is rounded up to what the shop sells, parts of a batch are not
    assert len(plan.lays) == 1 or abs(parts - plan.cloth_length) <= 1e-6 * parts, (parts, plan.cloth_length)
    assert plan.least <= plan.cloth_length + 1e-6, (plan.least, plan.cloth_length)
    whole = laying(options)(listed, "main")
    cloth = order.cloths[0]
    ends, widths = 2.0 * cloth.end_allowance, sum(s.spread.layers for s in whole.sections) / len(whole.sections)
    used = (widths * whole.lay_length + ends) / (1.0 - cloth.shrink_along)
    return plan.cloth_length, used, plan.buy_length, whole.buy_length


def main() -> int:
    """The number of orders whose batch takes more than their lay."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--orders", type=int, default=30)
    parser.add_argument("--first", type=int, default=0, help="seed of the first order")
    parser.add_argument("--rounds", type=int, default=6)
    asked = parser.parse_args()
    more = less = 0
    for seed in range(asked.first, asked.first + asked.orders):
        order = random_order(seed)
        batch_cloth, lay_cloth, batch_buy, lay_buy = taken(order, asked.rounds)
        longer = batch_buy > lay_buy + 1e-6
        more += longer
        less += batch_buy < lay_buy - 1e-6
        words = f"batch {batch_cloth:.1f}, buy {batch_buy:.0f}; lay {lay_cloth:.1f}, buy {lay_buy:.0f}"
        print(f"{seed}: {words}{' LONGER' if longer else ''}", flush=True)
    print(f"{more} of {asked.orders} batches take more than the lay, {less} take less")
    return more


if __name__ == "__main__":
    sys.exit(1 if main() else 0)
