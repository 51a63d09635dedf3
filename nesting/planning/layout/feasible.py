"""Can the order be laid at all? A quick look, without a search."""

from __future__ import annotations

from nesting.cloth.spreads import sound_spreads
from nesting.model.errors import CannotLayError
from nesting.model.findings import Finding
from nesting.model.order import Cloth, SpreadName
from nesting.model.units import format_width
from nesting.packing.problem import NeverFits, PackingError
from nesting.planning.layout.assemble import assemble
from nesting.planning.layout.candidates import candidates_for
from nesting.planning.layout.demand import Stack, stacks_of
from nesting.planning.layout.wording import why_never
from nesting.resolving.cutting_list import CuttingList

__all__ = ["laying_findings", "unusual_widths"]

#: mm. Cloth narrower or wider than this is sold nowhere: the units are probably wrong.
USUAL_WIDTHS = (200.0, 4000.0)


def unusual_widths(listed: CuttingList) -> tuple[Finding, ...]:
    """A warning for each cloth of a width that no cloth has."""
    file = str(listed.path) if listed.path is not None else None
    return tuple(
        Finding(
            "warning",
            f"cloth '{cloth.name}' is {format_width(cloth.width, imperial=listed.imperial)} wide: is the unit right?"
            f"{_meant(cloth.width)}",
            file,
            code="cloth.width-unusual",
            figures={"cloth": cloth.name, "width": cloth.width},
        )
        for cloth in listed.cloths
        if not USUAL_WIDTHS[0] <= cloth.width <= USUAL_WIDTHS[1]
    )


def laying_findings(listed: CuttingList) -> tuple[Finding, ...]:
    """A warning for each cloth that some piece cannot lie on in any sound spread, and for widths that no cloth has."""
    found = list(unusual_widths(listed))
    file = str(listed.path) if listed.path is not None else None
    for cloth in listed.cloths:
        stacks = stacks_of(listed, cloth)
        if not stacks:
            continue
        reason = _why_not(listed, cloth, stacks)
        if reason is not None:
            found.append(
                Finding(
                    "warning",
                    f"cannot be laid on cloth '{cloth.name}': {reason}",
                    file,
                    code="cloth.cannot-lie",
                    figures={"cloth": cloth.name},
                )
            )
    return tuple(found)


def _meant(width: float) -> str:
    """The width with cm in place of mm, or mm in place of cm, where that is one that cloth has."""
    least, most = 600.0, 3200.0
    if least <= width * 10 <= most:
        return f" Was {width:g} cm meant?"
    if least <= width / 10 <= most:
        return f" Was {width / 10:g} mm meant?"
    return ""


def _why_not(listed: CuttingList, cloth: Cloth, stacks: tuple[Stack, ...]) -> str | None:
    from nesting.packing.kernel.arrays import prepare

    kinds, refused = sound_spreads(cloth)
    # by spread: what it does not suit (a pair cut together takes two plies) is told only where no other has more to say
    told: dict[SpreadName, str] = {}
    unsuited: dict[SpreadName, str] = {}
    for kind in (k for k in kinds if k != "sections"):
        for candidate in candidates_for(kind, stacks, cloth):
            try:
                assembly = assemble(listed, cloth, stacks, kind, depths=candidate.depths, style=candidate.style)
                prepare(assembly.problem)
                return None
            except NeverFits as error:
                piece = assembly.jobs[error.item].needs[0].cut.piece.label
                told[kind] = f"piece '{piece}': {why_never(listed, assembly, error)}"
            except (CannotLayError, PackingError) as error:
                spread_only = isinstance(error, CannotLayError) and error.code == "together.spread"
                (unsuited if spread_only else told)[kind] = str(error)
    without = "; ".join(f"{r.kind}: {r.reason}" for r in refused) or None
    return next(iter((*told.values(), *unsuited.values())), without)
