"""Patches of a second cloth: whole on their own cloth, apart from each other, margins round their followers, and every
follower at its leader's place on the first cloth, right way up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
from shapely import Polygon, box

from nesting.model.lay import Lay, Patch, Placement
from nesting.model.order import Cloth, Order, Together
from nesting.proof.following import agreed, leads_from, tolerance_of
from nesting.proof.motion import IDENTITY, Motion, lying, over_line, shift
from nesting.proof.placing import EDGE_SLACK, Judged
from nesting.proof.table import Table
from nesting.proof.verdict import Failure

__all__ = ["check_patches", "patches_end"]

#: mm. Stated sizes of a patch agree within this.
SIZE_MM = 0.01
#: mm. So does the stated margin, which hangs on outlines as they are flattened.
MARGIN_MM = 0.05


def _finite(patch: Patch) -> bool:
    on = patch.on
    own = (patch.length, patch.width, patch.margin, patch.x, patch.y, patch.turn)
    return bool(np.isfinite((*own, on.x, on.y, on.length, on.width, on.grain)).all())


def _on_own(patch: Patch) -> Polygon:
    along, across = (patch.length, patch.width) if patch.turn % 180.0 == 0.0 else (patch.width, patch.length)
    return box(patch.x - along / 2, patch.y - across / 2, patch.x + along / 2, patch.y + across / 2)


def _on_first(patch: Patch) -> Polygon:
    on = patch.on
    return box(on.x, on.y, on.x + on.length, on.y + on.width)


def patches_end(lay: Lay) -> float:
    """The farthest x of any patch on its own cloth, mm; 0 where there is none."""
    return max((float(_on_own(p).bounds[2]) for p in lay.patches if _finite(p)), default=0.0)


def _wrong(patch: Patch, message: str, kind: str = "together") -> Failure:
    return Failure("together" if kind == "together" else "overlap", f"patch {patch.number}: {message}")


def _meet(a: Polygon, b: Polygon) -> bool:
    shared = a.intersection(b)
    x0, y0, x1, y1 = shared.bounds if not shared.is_empty else (0.0, 0.0, 0.0, 0.0)
    return min(x1 - x0, y1 - y0) > EDGE_SLACK


def check_patches(
    lay: Lay,
    order: Order,
    cloth: Cloth,
    judged: Mapping[int, Judged],
    tables: Sequence[Table | None],
    first: Lay | None,
) -> list[Failure]:
    """Failures of the patches of a lay; ``first``: the lay of their leaders' cloth, where it is known."""
    if not lay.patches:
        return []
    # nothing can be measured beside what lies nowhere
    failures = [_wrong(patch, "its figures are no numbers") for patch in lay.patches if not _finite(patch)]
    if failures:
        return failures
    of = Counter(i for patch in lay.patches for i in patch.placements)
    for i in range(len(lay.placements)):
        if of[i] != 1:
            failures.append(Failure("together", f"placement {i + 1} lies in {of[i]} patches, each piece lies in one"))
    if len({p.number for p in lay.patches}) != len(lay.patches):
        failures.append(Failure("together", "two patches have one number"))
    for patch in lay.patches:
        failures += _by_itself(patch, lay, cloth, judged, tables)
    for a, b in combinations(lay.patches, 2):
        if _meet(_on_own(a), _on_own(b)):
            failures.append(_wrong(a, f"overlaps patch {b.number} on its own cloth", "overlap"))
        same = a.on.section == b.on.section and set(a.on.plies) & set(b.on.plies)
        if same and _meet(_on_first(a), _on_first(b)):
            failures.append(_wrong(a, f"overlaps patch {b.number} on '{a.on.cloth}'", "overlap"))
    if first is not None:
        failures += _at_leaders(lay, order, judged, first)
    return failures


def _by_itself(
    patch: Patch, lay: Lay, cloth: Cloth, judged: Mapping[int, Judged], tables: Sequence[Table | None]
) -> list[Failure]:
    failures = []
    if patch.turn % 90.0 != 0.0 or patch.on.grain % 90.0 != 0.0:
        return [_wrong(patch, "its grain does not run along or across the cloth")]
    sides = (patch.length, patch.width) if patch.on.grain % 180.0 == 0.0 else (patch.width, patch.length)
    if max(abs(sides[0] - patch.on.length), abs(sides[1] - patch.on.width)) > SIZE_MM:
        failures.append(_wrong(patch, "is not the same size on both cloths"))
    if not -EDGE_SLACK <= patch.margin <= cloth.patch_margin + EDGE_SLACK:
        failures.append(_wrong(patch, f"a margin of {patch.margin:g} mm, the order asks for {cloth.patch_margin:g} mm"))
    whole = _on_own(patch)
    table = tables[0] if tables else None
    if table is not None and not table.plies[0].cover.buffer(EDGE_SLACK, join_style="mitre").covers(whole):
        failures.append(_wrong(patch, "reaches beyond the cloth"))
    margin = _margin(whole, [judged[i].outline for i in patch.placements if i in judged])
    if margin is not None and abs(margin - patch.margin) > MARGIN_MM:
        failures.append(_wrong(patch, f"a margin of {patch.margin:.2f} mm is stated, {margin:.2f} mm are there"))
    inner = whole.buffer(EDGE_SLACK - patch.margin, join_style="mitre")
    for i in patch.placements:
        j = judged.get(i)
        if j is None:
            failures.append(_wrong(patch, f"placement {i + 1} is not there"))
            continue
        if not inner.covers(j.outline):
            failures.append(_wrong(patch, f"{j.placement.label} does not lie within its margin"))
        # along or across the patch's grain; which of these its own cloth allows is judged with every other turn
        if abs((j.placement.turn - patch.turn + 45.0) % 90.0 - 45.0) > j.cut.tilt + 0.01:
            failures.append(_wrong(patch, f"the grain of {j.placement.label} does not run along or across it"))
    return failures


def _margin(whole: Polygon, outlines: Sequence[Polygon]) -> float | None:
    """The least that is left of the patch beside any of its pieces, mm; None where it has none."""
    x0, y0, x1, y1 = whole.bounds
    left = [min(a - x0, b - y0, x1 - c, y1 - d) for a, b, c, d in (outline.bounds for outline in outlines)]
    return min(left, default=None)


def _to_first(patch: Patch) -> Motion:
    """From the table of the patch's own cloth to that of the first."""
    on = patch.on
    own = lying(patch.x, patch.y, patch.turn, False).back()
    mirror = over_line((0.0, 0.0), (1.0, 0.0)) if on.face == "down" else IDENTITY
    there = shift(on.x + on.length / 2, on.y + on.width / 2).after(lying(0.0, 0.0, on.grain, False))
    return there.after(mirror).after(own)


def _at_leaders(lay: Lay, order: Order, judged: Mapping[int, Judged], first: Lay) -> list[Failure]:
    failures: list[Failure] = []
    taken: Counter[tuple[int, int, tuple[int, ...]]] = Counter()
    for patch in lay.patches:
        if patch.on.cloth != first.cloth or not 0 <= patch.on.section < len(first.sections):
            failures.append(_wrong(patch, f"there is no such place on '{first.cloth}'"))
            continue
        to_first = _to_first(patch)
        for i in patch.placements:
            j = judged.get(i)
            if j is None:
                continue
            p = j.placement
            together = leads_from(order, first.cloth, p.piece, p.garment, p.size)
            if together is None:
                failures.append(_wrong(patch, f"{p.label} follows no piece of '{first.cloth}'"))
                continue
            why, used = _place(order, first, patch, j, together, to_first)
            if why is not None:
                failures.append(_wrong(patch, f"{p.label} {why}"))
            elif used is not None:
                taken[patch.on.section, used, tuple(sorted(patch.on.plies))] += 1
    failures += [
        Failure("together", f"two followers lie at one leader of '{first.cloth}'") for n in taken.values() if n > 1
    ]
    return failures


def _served(leader: Placement, ply: int) -> int:
    copies = leader.copies or (leader.copy,)
    return copies[sorted(leader.plies).index(ply) % len(copies)] if not leader.on_fold else copies[0]


def _place(
    order: Order, first: Lay, patch: Patch, j: Judged, together: Together, to_first: Motion
) -> tuple[str | None, int | None]:
    """Why the follower is not at a leader's place, or the number of its leader in the section."""
    p, on, section = j.placement, patch.on, first.sections[patch.on.section]
    faces = {ply.ply: ply.face for ply in section.spread.plies}
    if not on.plies or any(ply not in faces for ply in on.plies):
        return "lies on plies that are not there", None
    face = faces[on.plies[0]]
    wanted = face if together.faces == "same" else ("down" if face == "up" else "up")
    if on.face != wanted:
        return f"lies with the wrong side up on ply {on.plies[0]}", None
    leader_piece = order.cut_piece(together.leader, p.size).piece
    fits = agreed(leader_piece, j.cut.piece, tolerance_of(together))
    on_leader = lying(*fits.shift, fits.turn, fits.flipped)
    lies = to_first.after(j.motion).points(j.pattern.outline)
    off = None
    for number, leader in enumerate(section.placements):
        if (leader.piece, leader.garment, leader.size) != (together.leader, p.garment, p.size):
            continue
        if leader.on_fold:
            if set(leader.plies) != set(on.plies):
                continue
        elif len(on.plies) != 1 or on.plies[0] not in leader.plies:
            continue
        if _served(leader, on.plies[0]) != p.copy:
            continue
        belongs = lying(leader.x, leader.y, leader.turn, leader.flipped).after(on_leader).points(j.pattern.outline)
        apart = float(np.hypot(*(belongs - lies).T).max())
        if apart <= tolerance_of(together):
            return None, number
        off = apart if off is None else min(off, apart)
    if off is None:
        return f"has no leader {together.leader} cut through these plies", None
    return f"is {off:.1f} mm off its place on its leader {together.leader}", None
