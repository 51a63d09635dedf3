"""A lay that another search is to continue from: whether it is of the same order, and whether it holds as it lies."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from nesting.files.lays.layfile import read_lay
from nesting.model.errors import InputError
from nesting.model.findings import Finding
from nesting.model.identity import is_kept, with_ids
from nesting.model.lay import Lay, Placement
from nesting.model.order import Order
from nesting.proof.edited import redrawn
from nesting.proof.proving import prove
from nesting.proof.verdict import Failure, FailureKind

__all__ = ["lay_to_continue"]

#: What may be wrong with pieces where they lie, whatever else lies there.
_PLACE: frozenset[FailureKind] = frozenset({"turn", "ply", "fold", "cloth", "overlap", "gap"})
#: What may be wrong with how all of them lie. Counts and lengths are for the search to mend.
_LYING: frozenset[FailureKind] = _PLACE | {"spread", "repeat", "together"}


def lay_to_continue(
    path: str | Path, order: Order, keep: Sequence[tuple[str, int] | str] = ()
) -> tuple[Lay, tuple[Finding, ...]]:
    """The lay in a file for a search of ``order`` to begin from, and a warning where it does not hold as it lies, so
    that the search cannot begin from it, with ids. ``keep``: ids, or (piece, copy), of what
    is to stay.

    Raises OrderError if the file cannot be read; InputError if the lay is of another order or of a leftover, or if the
    pieces to keep cannot stay where they are.
    """
    lay = with_ids(read_lay(path), order)
    if all(lay.cloth != cloth.name for cloth in order.cloths):
        raise InputError(
            f"this lay is of cloth '{lay.cloth}', which the order does not have", file=path, code="lay.other-cloth"
        )
    if lay.remnant is not None:
        raise InputError(
            f"this lay is of the leftover '{lay.remnant}': give --from a lay of the cloth '{lay.cloth}' itself",
            file=path,
            code="lay.leftover",
        )
    known = {(g.name, name) for g in order.garments for name in g.pieces}
    strange = sorted({p.piece for p in lay.placements if (p.garment, p.piece) not in known})
    if strange:
        raise InputError(
            f"this lay is of another order: it has {', '.join(strange)}, which this order does not cut; "
            "give --from a lay of the same order",
            file=path,
            code="lay.other-order",
        )
    drawn = redrawn(lay, order)
    wanted = tuple(keep)
    stuck = _wrong(_only(drawn, wanted), order, _PLACE) if wanted else []
    if stuck:
        raise InputError(
            f"--keep: the pieces cannot stay as this lay has them: {_listed(stuck)}. Move them in the file, or keep "
            "fewer of them",
            file=path,
            code="lay.pieces-stay",
        )
    wrong = _wrong(drawn, order, _LYING)
    if not wrong:
        return lay, ()
    rest = "the pieces to keep stay, the others are laid anew" if wanted else "the search begins anew"
    message = f"the pieces cannot be cut as this lay has them, so {rest}: {_listed(wrong)}"
    return lay, (Finding("warning", message, str(path), code="lay.begun"),)


def _wrong(lay: Lay, order: Order, kinds: frozenset[FailureKind]) -> list[Failure]:
    return [failure for failure in prove(lay, order).failures if failure.kind in kinds]


def _only(lay: Lay, wanted: Sequence[tuple[str, int] | str]) -> Lay:
    """The lay with no other placements than those wanted."""

    def kept(placements: Iterable[Placement]) -> tuple[Placement, ...]:
        return tuple(p for p in placements if is_kept(p.piece, p.copies or (p.copy,), p.ids, wanted))

    return replace(lay, sections=tuple(replace(s, placements=kept(s.placements)) for s in lay.sections))


def _listed(failures: Sequence[Failure]) -> str:
    shown = "; ".join(str(failure) for failure in failures[:3])
    return f"{shown}; and {len(failures) - 3} more" if len(failures) > 3 else shown
