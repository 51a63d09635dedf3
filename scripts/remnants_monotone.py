"""Random orders on random leftovers: more asked, more rounds or more leftovers never give less.

    python scripts/remnants_monotone.py [--cases 40] [--seed 0]

Every plan is proved. One line for each case, at last how many cases gave less somewhere (0 is what is wanted).
"""

from __future__ import annotations

import argparse
import random
import sys
from dataclasses import replace

from nesting.model.order import Cloth, CutPiece, Garment, Order, Remnant
from nesting.model.piece import Piece
from nesting.planning.layout.options import SearchOptions
from nesting.planning.leftovers.cloth_pieces import FitsBySearch
from nesting.planning.leftovers.remnant_plan import RemnantPlan
from nesting.planning.leftovers.remnants import plan_remnants
from nesting.proof import prove
from nesting.resolving.resolve import resolve


def random_order(rng: random.Random) -> Order:
    """One or two garments of two or three pieces, two to four leftovers; mm."""
    pieces: list[CutPiece] = []
    garments: list[Garment] = []
    for g in range(rng.randint(1, 2)):
        names = []
        for k in range(rng.randint(2, 3)):
            a, b = rng.randint(8, 30) * 10.0, rng.randint(8, 25) * 10.0
            cut = rng.random() * 0.6
            ring = (
                (-a / 2, -b / 2),
                (a / 2, -b / 2),
                (a / 2, b / 2 - cut * b),
                (a / 2 - cut * a, b / 2),
                (-a / 2, b / 2),
            )
            name = f"{'ab'[g]}{k}"
            names.append(name)
            both = rng.random() < 0.4
            piece = Piece(name, ring, grainline=((-a / 2, 0.0), (a / 2, 0.0)))
            pieces.append(CutPiece(piece, None, cut=2 if both else 1, mirrored=both))
        garments.append(
            Garment(f"garment {'ab'[g]}", None, rng.randint(1, 2), tuple(names), value=rng.choice((1.0, 1.0, 1.5)))
        )
    remnants = []
    for name in "pqrs"[: rng.randint(2, 4)]:
        a, b = rng.randint(20, 60) * 10.0, rng.randint(20, 60) * 10.0
        remnants.append(Remnant(name, "main", ((0.0, 0.0), (a, 0.0), (a, b), (0.0, b))))
    return Order("random", "mm", None, "", tuple(pieces), (Cloth("main", 1500.0),), tuple(garments), tuple(remnants))


def planned(order: Order, rounds: int) -> RemnantPlan:
    """The plan by rounds, every lay of it proved."""
    plan = plan_remnants(resolve(order), FitsBySearch(SearchOptions(seconds=None, rounds=rounds)), seconds=None)
    for lay in plan.lays:
        verdict = prove(lay, order)
        assert verdict.ok, verdict.failures
    return plan


def losses(order: Order, rng: random.Random) -> list[str]:
    """What gave less than the order as it is at four rounds, although there was more of something."""
    base = planned(order, 4)
    found = []
    i = rng.randrange(len(order.garments))
    more = tuple(replace(g, count=g.count + (k == i)) for k, g in enumerate(order.garments))
    for what, plan in (
        ("one more asked", planned(replace(order, garments=more), 4)),
        ("more rounds", planned(order, 9)),
        ("one leftover more", _with_another(order, rng)),
    ):
        if plan.value < base.value - 1e-9:
            found.append(f"{what}: {plan.value:g} instead of {base.value:g}")
    return found


def _with_another(order: Order, rng: random.Random) -> RemnantPlan:
    a, b = rng.randint(10, 60) * 10.0, rng.randint(10, 60) * 10.0
    another = Remnant("t", "main", ((0.0, 0.0), (a, 0.0), (a, b), (0.0, b)))
    at = rng.randint(0, len(order.remnants))
    return planned(replace(order, remnants=(*order.remnants[:at], another, *order.remnants[at:])), 4)


def main() -> int:
    """The number of cases that gave less."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=40)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    bad = 0
    for case in range(asked.cases):
        rng = random.Random(asked.seed * 1000 + case)
        order = random_order(rng)
        found = losses(order, rng)
        bad += bool(found)
        print(case, "; ".join(found) or "ok", flush=True)
    print(f"{bad} of {asked.cases} gave less")
    return bad


if __name__ == "__main__":
    sys.exit(1 if main() else 0)
