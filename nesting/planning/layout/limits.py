"""What bounds a lay beside its width: the cloth that there is, and the table."""

from __future__ import annotations

from collections.abc import Sequence

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay, Section
from nesting.model.order import Cloth, SpreadName
from nesting.model.units import format_apart, format_length, format_width, round_up
from nesting.planning.layout.yardage import buy_length
from nesting.resolving.cutting_list import CuttingList

__all__ = ["beyond", "fits_table", "on_table", "within_limits"]

#: mm. A lay that is too long by less is not.
SLACK_MM = 1e-3


def needed(listed: CuttingList, lay: Lay) -> float:
    """Cloth as sold that the lay takes, mm, ends and shrinkage included, not rounded up."""
    kind = "open" if len(lay.sections) > 1 else lay.sections[0].spread.kind
    return buy_length(kind, listed.cloth_named(lay.cloth), lay.lay_length, rounded=False)


def fits_table(listed: CuttingList, lay: Lay) -> bool:
    """Whether each section with its two ends lies on the table, if the order states one."""
    return on_table(listed.cloth_named(lay.cloth), lay.sections)


def on_table(cloth: Cloth, sections: Sequence[Section]) -> bool:
    """Whether each of the sections with its two ends lies on the table, if the order states one."""
    if cloth.table_length is None:
        return True
    longest = max(s.lay_length for s in sections) + 2.0 * cloth.end_allowance
    return longest <= cloth.table_length + SLACK_MM


def beyond(cloth: Cloth, kind: SpreadName, lay_length: float) -> float:
    """How much more cloth as sold a lay of that spread takes than there is, mm; 0 where it is enough."""
    if cloth.length is None:
        return 0.0
    takes = buy_length("open" if kind == "sections" else kind, cloth, lay_length, rounded=False)
    return max(0.0, takes - cloth.length - SLACK_MM)


def within_limits(listed: CuttingList, lay: Lay) -> Lay:
    """The lay, if there is cloth and table enough for it. CannotLayError says which piece lies beyond the end, and what
    is missing; that it cannot be is claimed only where the bound says so."""
    cloth = listed.cloth_named(lay.cloth)
    takes = needed(listed, lay)
    if cloth.length is not None and takes > cloth.length + SLACK_MM:
        wanted, there = format_apart(takes, cloth.length, imperial=listed.imperial)
        short = takes - cloth.length
        finest = format_length(short, imperial=True, step="1/16 in", up=True)
        missing = finest if listed.imperial else format_width(round_up(short, 1.0), imperial=False)
        kind = "open" if len(lay.sections) > 1 else lay.sections[0].spread.kind
        least = buy_length(kind, cloth, lay.lower_bound, rounded=False)
        sure = (
            "no lay of these pieces is short enough"
            if least > cloth.length + SLACK_MM
            else "that is the shortest lay found; more --seconds may find a shorter one"
        )
        raise CannotLayError(
            f"the lay takes {wanted} of '{cloth.name}', there are {there}: {missing} are missing; {sure}. Order fewer "
            "garments, or get more cloth",
            piece=_farthest(lay),
            key="cloth.length",
            code="cloth.too-short",
        )
    if not fits_table(listed, lay):
        longest = max(s.lay_length for s in lay.sections) + 2.0 * cloth.end_allowance
        wanted, there = format_apart(longest, cloth.table_length or 0.0, imperial=listed.imperial)
        raise CannotLayError(
            f"with both ends the lay of '{cloth.name}' is {wanted} long, the table {there}: no division into sections "
            "that fit was found. Give a longer table_length",
            piece=_farthest(lay),
            key="cloth.table_length",
            code="table.too-short",
        )
    return lay


def _farthest(lay: Lay) -> str | None:
    """The piece that reaches the farthest beyond the end of the cloth."""
    last = lay.sections[-1]
    reach = {p.label: max(x for x, _ in p.outline) for p in last.placements if p.second_cloth is None}
    return max(reach, key=lambda label: reach[label], default=None)
