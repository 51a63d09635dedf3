"""Random orders of two to six rectangles, laid by the program and placed exactly by a model of its own.

    python scripts/exact_rectangles.py --orders 200 --seconds 5

Widths are sums of the pieces and gaps, so that they fit exactly, or 0.1 mm less, so that they do not. The optimum comes
from a constraint model (CP-SAT) in tenths of a millimetre that shares no code with the program: every pair of pieces on
one ply has one behind the other, one beside the other, or a corner off a corner, by the gap asked for. Each order says
whether the lay is within 0.1 mm of that optimum; no bound may exceed the optimum or the lay.
"""

from __future__ import annotations

import argparse
import math
import random
import sys
import time
from dataclasses import dataclass
from itertools import combinations

from ortools.sat.python import cp_model

from nesting.api import lay_proved
from nesting.model.order import Cloth, CutPiece, Garment, Order
from nesting.model.piece import Piece
from nesting.planning.layout.options import SearchOptions

#: all lengths of a case are whole tenths of a millimetre
UNIT = 0.1


@dataclass(frozen=True)
class Case:
    """``pieces``: (along, across, is a half on the fold) each; ``folded``: laid on a lengthwise fold, else open."""

    pieces: tuple[tuple[int, int, bool], ...]
    width: int
    gap: int
    folded: bool


def drawn(seed: int) -> Case:
    """A random case, the same for the same seed."""
    rng = random.Random(seed)
    folded = rng.random() < 0.4
    gap = rng.choice([0, 0, 20, 30, 60, 100])
    count = rng.randint(2, 6)
    pieces = []
    for k in range(count):
        if k and rng.random() < 0.4:
            pieces.append(pieces[-1])
            continue
        half = folded and rng.random() < 0.4
        pieces.append((rng.randint(300, 4000), rng.randint(300, 3000 if half else 4000), half))
    beside = rng.sample(pieces, rng.randint(1, min(3, count)))
    on_fold = [p for p in beside if p[2]][:1]
    row = on_fold + [p for p in beside if not p[2]]
    room = sum(p[1] for p in row) + gap * (len(row) - 1)
    if folded and not on_fold:
        room += gap // 2
    room = max(room, *(p[1] + (gap // 2 if folded and not p[2] else 0) for p in pieces))
    room -= rng.random() < 0.4
    least = max(p[1] + (gap // 2 if folded and not p[2] else 0) for p in pieces)
    return Case(tuple(pieces), max(room, least) * (2 if folded else 1), gap, folded)


def optimum(case: Case, seconds: float = 60.0) -> int | None:
    """The least length in tenths of a millimetre (corners off corners rounded up to one); None if time runs out."""
    model = cp_model.CpModel()
    room = case.width // 2 if case.folded else case.width
    far = sum(a for a, _, _ in case.pieces) + case.gap * len(case.pieces)
    length = model.new_int_var(max(a for a, _, _ in case.pieces), far, "length")
    xs, ys, plies = [], [], []
    for k, (a, b, half) in enumerate(case.pieces):
        x = model.new_int_var(0, far - a, f"x{k}")
        low = case.gap // 2 if case.folded and not half else 0
        y = model.new_int_var(low, 0 if half else room - b, f"y{k}")
        ply = model.new_int_var(0, 1 if case.folded and not half else 0, f"ply{k}")
        model.add(length >= x + a)
        xs.append(x)
        ys.append(y)
        plies.append(ply)
    corners = range(1, case.gap)
    for i, j in combinations(range(len(case.pieces)), 2):
        (ai, bi, hi), (aj, bj, hj) = case.pieces[i], case.pieces[j]
        ways: list[list[cp_model.BoundedLinearExpression]] = []
        for p, q, along in ((i, j, ai), (j, i, aj)):
            ways.append([xs[q] >= xs[p] + along + case.gap])
        for p, q, across in ((i, j, bi), (j, i, bj)):
            ways.append([ys[q] >= ys[p] + across + case.gap])
        for dx in corners:
            dy = math.ceil(math.sqrt(case.gap**2 - dx**2))
            for p, q, along in ((i, j, ai), (j, i, aj)):
                for r, s, across in ((i, j, bi), (j, i, bj)):
                    ways.append([xs[q] >= xs[p] + along + dx, ys[s] >= ys[r] + across + dy])
        if case.folded and not (hi or hj):
            ways.append([plies[i] != plies[j]])
        chosen = []
        for way in ways:
            here = model.new_bool_var("")
            for condition in way:
                model.add(condition).only_enforce_if(here)
            chosen.append(here)
        model.add_bool_or(chosen)
    model.minimize(length)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_time_in_seconds = seconds
    return round(solver.objective_value) if solver.solve(model) == cp_model.OPTIMAL else None


def order_of(case: Case) -> Order:
    """The case as an order: every piece once, one garment."""
    cuts = []
    for k, (along, across, half) in enumerate(case.pieces):
        a, b = along * UNIT / 2, across * UNIT
        low, high = (0.0, b) if half else (-b / 2, b / 2)
        outline = ((-a, low), (a, low), (a, high), (-a, high))
        fold = ((-a, 0.0), (a, 0.0)) if half else None
        middle = (low + high) / 2
        piece = Piece(f"p{k}", outline, grainline=((-a / 2, middle), (a / 2, middle)), fold=fold)
        cuts.append(CutPiece(piece, None, unfold=False))
    cloth = Cloth("main", width=case.width * UNIT, gap=case.gap * UNIT, end_allowance=0.0, increment=1.0)
    garment = Garment("g", None, 1, tuple(cut.name for cut in cuts))
    return Order("rectangles", "mm", None, "", tuple(cuts), (cloth,), (garment,))


def laid(case: Case, options: SearchOptions) -> tuple[float, float]:
    """(lay length, lower bound) of the program's lay, mm; the lay has passed the proof."""
    ((lay, _),) = lay_proved(order_of(case), options, spread="lengthwise fold" if case.folded else "open")
    return lay.lay_length, lay.lower_bound


def main() -> int:
    """Run the cases and count."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--orders", type=int, default=200)
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--first", type=int, default=0, help="seed of the first order")
    args = parser.parse_args()
    met = known = false = 0
    begun = time.monotonic()
    for seed in range(args.first, args.first + args.orders):
        case = drawn(seed)
        best = optimum(case)
        length, bound = laid(case, SearchOptions(seconds=args.seconds, workers=1, seed=seed))
        wrong = bound > min(length, math.inf if best is None else best * UNIT) + 1e-6
        false += wrong
        if best is not None:
            known += 1
            near = length <= best * UNIT + 0.1 + 1e-6
            met += near
            if not near or wrong:
                print(f"{seed}: {case} laid {length:.3f}, best {best * UNIT:.1f}, bound {bound:.3f}"
                      f"{' FALSE' if wrong else ''}", flush=True)  # fmt: skip
    spent = time.monotonic() - begun
    print(f"{args.orders} orders in {spent:.0f} s: optimum known {known}, met within 0.1 mm {met} "
          f"({100 * met / max(1, known):.0f} %), bounds that exceed it or the lay: {false}")  # fmt: skip
    return 1 if false or met < 0.8 * known else 0


if __name__ == "__main__":
    sys.exit(main())
