"""No lay in patches that was spoiled on purpose is accepted; all differ."""

from __future__ import annotations

import os

import pytest

from nesting.proof import prove
from tests.planning.cut_together.spoiled_patches import LAYS, made, spoiled_ways

#: spoiled lays of each kind; NESTING_EXAMPLES=200 takes all there are, some 700 in all
EXAMPLES = int(os.environ.get("NESTING_EXAMPLES", "8"))


@pytest.mark.parametrize("kind", LAYS)
def test_none_is_accepted(kind: str) -> None:
    """Moved, turned, mirrored, smaller, missing, doubled, swapped, on another ply, face or leader, of another hand,
    copy or number: what is spoiled in the second cloth's lay alone is refused by its own proof, what is spoiled under
    it by that of either."""
    order, first, second = made(kind)
    assert second.patches and prove(first, order).ok and prove(second, order, first=first).ok
    # two that hold the same are one
    ways = {repr((a, b)): (what, a, b) for what, a, b in spoiled_ways(first, second)}
    assert repr((first, second)) not in ways and len(ways) > 75
    if kind == "folded":
        assert all(len(p.on.plies) == 2 for p in second.patches)
    if kind == "hands on a fold":
        assert {p.on.face for p in second.patches} == {"up", "down"}
    # spread over all ways, others for each kind
    begin, step = LAYS.index(kind), max(1, len(ways) // EXAMPLES)
    taken = list(ways.values())[begin % step :: step]
    assert len(taken) >= min(EXAMPLES, len(ways)) - 1
    assert [what for what, a, b in taken if prove(b, order, first=a).ok and prove(a, order).ok] == []
