"""Which followers share a patch: those whose own boxes meet, and neighbours for whom one rectangle takes less cloth.
As patches lie in rows on their own cloth, one that takes a little more may shorten it: ``grouped`` offers these, too.

Patches never lie on one another; their margins may lie over neighbouring pieces. Where followers that may not share a
patch lie so near that their own boxes meet, no patches can be cut at these places: ``InTheWay`` names the leaders.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from shapely.geometry import Polygon

from nesting.model.lay import Placement
from nesting.model.units import format_apart
from nesting.planning.cut_together.layered import Apart

__all__ = ["Box", "Group", "GroupRules", "InTheWay", "Wanted", "grouped", "meet", "union"]

#: (share of their own two areas that a patch for two neighbours may take, mm between their boxes), each tried by itself
_JOINED = ((1.0, 0.0), (1.15, 20.0), (1.4, 40.0))

#: mm. Boxes that overlap by less lie beside each other; the gap may be short by no more than the other.
TOUCH_MM = 1e-6
SLACK_MM = 1e-3

#: x and y of the lower left corner, x and y of the upper right one, mm
Box = tuple[float, float, float, float]


class InTheWay(Apart):
    """The leaders, each (section, number in it), lie where their patches would lie on one another."""

    def __init__(self, why: str, leaders: frozenset[tuple[int, int]]) -> None:
        self.leaders = leaders
        super().__init__(why, code="together.patches-meet")


@dataclass(frozen=True)
class Wanted:
    """A follower on the first cloth's table, through one ply (or folded round two), and the box of its patch.

    ``bare`` is the follower's own box, ``box`` the same with its margin; ``leader``: (section, number in it).
    """

    follower: Placement
    leader: tuple[int, int]
    plies: tuple[int, ...]
    face: str
    bare: Box
    box: Box
    #: mm within which its outline is known
    error: float = 0.0

    @property
    def section(self) -> int:
        """The section of the first lay in which it lies."""
        return self.leader[0]

    @property
    def grain(self) -> int:
        """The turn of its patch's grain on the table, whole quarter turns in degrees."""
        return round(self.follower.turn / 90.0) * 90 % 360


#: followers of one patch
Group = tuple[Wanted, ...]


@dataclass(frozen=True)
class GroupRules:
    """What the second cloth asks of followers that share a patch: their turns differ by whole multiples of ``turn``
    degrees, they keep ``gap`` mm, and a rectangle (along, across its grain, mm) is no larger than ``fits`` says."""

    turn: int
    gap: float
    fits: Callable[[float, float], bool]
    imperial: bool = False


def meet(a: Box, b: Box) -> bool:
    """Whether two boxes overlap."""
    return min(a[2], b[2]) - max(a[0], b[0]) > TOUCH_MM and min(a[3], b[3]) - max(a[1], b[1]) > TOUCH_MM


def union(boxes: Sequence[Box]) -> Box:
    """The box round all of them."""
    return (min(b[0] for b in boxes), min(b[1] for b in boxes), max(b[2] for b in boxes), max(b[3] for b in boxes))


def _bare(group: Group) -> Box:
    return union([w.bare for w in group])


def _box(group: Group) -> Box:
    return union([w.box for w in group])


def _area(box: Box) -> float:
    return (box[2] - box[0]) * (box[3] - box[1])


def grouped(wanted: Sequence[Wanted], rules: GroupRules, *, several: bool = False) -> tuple[tuple[Group, ...], ...]:
    """The followers of each patch, their boxes with as much margin as neighbouring patches leave: first neighbours in
    one patch where that takes no more cloth than two; with ``several`` also where it takes a little more.

    InTheWay where no patches can be cut at these places.
    """
    groups: list[Group] = [(w,) for w in wanted]
    while (pair := next(_pairs(groups, _bare), None)) is not None:
        a, b = groups[pair[0]], groups[pair[1]]
        if not _alike(a, b, rules):
            raise InTheWay("patches that cannot be one would lie on one another", _leaders(a + b))
        groups[pair[0]] = a + b
        del groups[pair[1]]
    for group in groups:
        wrong = _why_not_one(group, rules)
        if wrong is not None and len(group) == 1:
            raise Apart(wrong)
        if wrong is not None:
            raise InTheWay(wrong, _leaders(group))
    found: list[tuple[Group, ...]] = []
    seen: list[set[frozenset[int]]] = []
    for share, reach in _JOINED if several else _JOINED[:1]:
        joined = _joined(groups, rules, share, reach)
        shared = {frozenset(id(w) for w in group) for group in joined}
        if shared in seen:
            continue
        seen.append(shared)
        for i, j in list(_pairs(joined, _box)):
            if meet(_box(joined[i]), _box(joined[j])):
                joined[i], joined[j] = _shrunk(joined[i], joined[j])
        found.append(tuple(joined))
    return tuple(found)


def _leaders(group: Group) -> frozenset[tuple[int, int]]:
    return frozenset(w.leader for w in group)


def _pairs(groups: Sequence[Group], box: Callable[[Group], Box]) -> Iterator[tuple[int, int]]:
    """Pairs of patches, i < j, that share a ply and whose boxes meet."""
    boxes = [box(g) for g in groups]
    order = sorted(range(len(groups)), key=lambda i: boxes[i][0])
    for at, i in enumerate(order):
        for j in order[at + 1 :]:
            if boxes[j][0] >= boxes[i][2] - TOUCH_MM:
                break
            one, other = groups[i][0], groups[j][0]
            if one.section == other.section and set(one.plies) & set(other.plies) and meet(boxes[i], boxes[j]):
                yield min(i, j), max(i, j)


def _alike(a: Group, b: Group, rules: GroupRules) -> bool:
    one, other = a[0], b[0]
    same = (one.section, one.plies, one.face) == (other.section, other.plies, other.face)
    return same and (one.grain - other.grain) % rules.turn == 0


def _why_not_one(group: Group, rules: GroupRules) -> str | None:
    """Why these followers cannot be cut from one rectangle."""
    x0, y0, x1, y1 = _bare(group)
    along, across = (x1 - x0, y1 - y0) if group[0].grain % 180 == 0 else (y1 - y0, x1 - x0)
    if not rules.fits(along, across):
        names = ", ".join(f"'{w.follower.label}'" for w in group)
        return f"a patch for {names} is larger than the cloth"
    if rules.gap > 0.0 or any(w.error > 0.0 for w in group):
        for i, a in enumerate(group):
            shape = Polygon(a.follower.outline)
            for b in group[i + 1 :]:
                apart, gap = float(shape.distance(Polygon(b.follower.outline))), rules.gap + a.error + b.error
                if apart < gap - SLACK_MM:
                    found, asked = format_apart(apart, gap, imperial=rules.imperial)
                    names = f"'{a.follower.label}' and '{b.follower.label}'"
                    return f"{names} would lie {found} apart in one patch, the gap is {asked}"
    return None


def _joined(groups: list[Group], rules: GroupRules, share: float, reach: float) -> list[Group]:
    """Neighbours, their boxes ``reach`` mm apart at most, in one patch where that takes no more than ``share`` of the
    cloth of two."""
    groups = list(groups)

    def near(group: Group) -> Box:
        x0, y0, x1, y1 = _box(group)
        return x0 - reach / 2, y0 - reach / 2, x1 + reach / 2, y1 + reach / 2

    while True:
        for i, j in _pairs(groups, near):
            a, b = groups[i], groups[j]
            both = a + b
            own = _area(_box(a)) + _area(_box(b))
            if not _alike(a, b, rules) or _area(_box(both)) > share * own or _why_not_one(both, rules) is not None:
                continue
            whole, plies = _bare(both), set(a[0].plies)
            others = (g for k, g in enumerate(groups) if k not in (i, j) and g[0].section == a[0].section)
            if not any(plies & set(g[0].plies) and meet(whole, _bare(g)) for g in others):
                groups[i] = both
                del groups[j]
                break
        else:
            return groups


def _shrunk(a: Group, b: Group) -> tuple[Group, Group]:
    """Both without the margin in which their patches overlap: each ends half way between the followers."""
    one, other = _bare(a), _bare(b)
    for axis in (0, 1):
        for low, high, first, second in ((one, other, a, b), (other, one, b, a)):
            if low[axis + 2] <= high[axis] + TOUCH_MM:
                line = (low[axis + 2] + high[axis]) / 2
                ended = tuple(_cut(w, axis + 2, line) for w in first)
                begun = tuple(_cut(w, axis, line) for w in second)
                return (ended, begun) if first is a else (begun, ended)
    raise InTheWay("patches would lie on one another", _leaders(a + b))


def _cut(w: Wanted, side: int, line: float) -> Wanted:
    box = list(w.box)
    box[side] = min(box[side], line) if side >= 2 else max(box[side], line)
    return replace(w, box=(box[0], box[1], box[2], box[3]))
