"""The search on published dissections: squares whose tight layout is known."""

from __future__ import annotations

import numpy as np

from nesting.packing.bounds.bounds import lower_bound
from nesting.packing.problem import Item, Pose, Problem, Region, Stop
from nesting.packing.search.search import solve
from tests.published_squares import SQUARED_SQUARE, SQUARED_SQUARE_SIDE


def test_the_search_comes_within_a_tenth_of_the_perfect_square() -> None:
    """Order 21, side 112 (Duijvestijn 1978): the bound is exact and 123.2 is reached (in 5 to 8 rounds, three seeds);
    it stops when it is."""
    sides = [side for group in SQUARED_SQUARE for side in group]
    corners = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    items = tuple(Item(f"square {side}", (Pose(corners * side),), kind=side) for side in sides)
    wide = float(SQUARED_SQUARE_SIDE)
    problem = Problem((Region(corners * np.array([1.0, wide])),), items)
    assert lower_bound(problem).length == wide
    result = solve(problem, Stop(rounds=200, length=1.1 * wide), seed=0)
    assert wide <= result.length <= 1.1 * wide
