"""The seams of an order walked in every size that has their pieces, and the allowances along them."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from nesting.model.errors import OrderError
from nesting.model.order import CutPiece, Seam
from nesting.model.piece import Piece
from nesting.pieces.contour import Contour, cleaned
from nesting.pieces.edge_walk import seam_to_cut
from nesting.pieces.edges import notch_names
from nesting.pieces.prepare import sound
from nesting.pieces.seams import WalkedSeam, edge_names, walk_seam

__all__ = ["Sewn", "allowance_along", "called_notches", "piece_of", "sewn_in_sizes", "sizes_of"]


@dataclass(frozen=True)
class Sewn:
    """A seam walked in one size; ``pieces``: that of each edge."""

    size: str | None
    pieces: tuple[CutPiece, ...]
    walked: WalkedSeam


def piece_of(pieces: Iterable[CutPiece], name: str, size: str | None) -> CutPiece | None:
    """The piece of that name and size; one without a size serves every size. None if there is none."""
    mine = [piece for piece in pieces if piece.name == name]
    exact = next((piece for piece in mine if piece.size == size), None)
    return exact or next((piece for piece in mine if piece.size is None or size is None), None)


def sizes_of(pieces: Sequence[CutPiece], names: Iterable[str]) -> list[str | None]:
    """The sizes in which all these pieces are there."""
    names = list(dict.fromkeys(names))
    sizes: list[str | None] = list(
        dict.fromkeys(cut.size for cut in pieces if cut.name in names and cut.size is not None)
    )
    return [size for size in sizes or [None] if all(piece_of(pieces, name, size) is not None for name in names)]


def called_notches(cut: CutPiece) -> tuple[str, ...]:
    """What people call the piece's notches, in their order: their own names, else n1, n2, … as in the labelled picture
    of the drawing."""
    drawn = notch_names(sound(cut.drawn, file=cut.drawn.file)) if cut.drawn is not None else ()
    return tuple(
        notch.name or (drawn[k] if k < len(drawn) else f"notch {k + 1}") for k, notch in enumerate(cut.piece.notches)
    )


def sewn_in_sizes(seam: Seam, pieces: Sequence[CutPiece], *, file: str | Path | None = None) -> list[Sewn]:
    """The seam walked in each size that has all its pieces.

    Raises OrderError where a piece does not have an edge, or ease cannot be placed as the seam says.
    """
    split = [text.rpartition(".") for text in seam.edges]
    found = []
    for size in sizes_of(pieces, (name for name, _, _ in split)):
        cuts = tuple(cut for name, _, _ in split if (cut := piece_of(pieces, name, size)) is not None)
        for cut, (_, _, edge), text in zip(cuts, split, seam.edges, strict=True):
            have = edge_names(cut.piece)
            if edge not in have:
                near = difflib.get_close_matches(edge, have, 1)
                hint = f"did you mean '{cut.name}.{near[0]}'? " if near else ""
                raise OrderError(
                    f"found '{text}', but the piece has no edge '{edge}'; {hint}its edges are {', '.join(have)} "
                    "(name edges in the drawing, or with [[edge]] by corner numbers)",
                    file=file,
                    piece=cut.piece.label,
                    key="seam",
                    code="edge.unknown",
                )
        try:
            walked = walk_seam(
                [(cut.piece, edge) for cut, (_, _, edge) in zip(cuts, split, strict=True)],
                seam.edges,
                ease=seam.ease,
                ratio=seam.ratio,
                tolerance=seam.tolerance,
                pairs=[cut.mirrored and not cut.on_fold for cut in cuts],
                counts=seam.counts or None,
                between=seam.ease_between,
                called=[called_notches(cut) for cut in cuts] if seam.ease_between else None,
            )
        except OrderError as error:
            raise OrderError(
                f"seam {' to '.join(seam.titles)}{f' (size {size})' if size else ''}: {error.message}",
                file=file,
                key=error.key,
                code=error.code,
                figures=error.figures,
            ) from None
        found.append(Sewn(size, cuts, walked))
    return found


def allowance_along(piece: Piece, edge: str) -> float | None:
    """How far the cut line lies outside the seam line in the middle of an edge, mm (the median of five places); None
    where no seam line is known."""
    if piece.seam is None:
        return None
    named = next(e for e in piece.edges if e.name == edge)
    contour = Contour(cleaned(piece.seam))
    a, b = contour.locate(named.start)[0], contour.locate(named.end)[0]
    span = contour.span(a, b) or contour.perimeter
    shares = (0.3, 0.4, 0.5, 0.6, 0.7)
    return sorted(seam_to_cut(piece, contour.at((a + s * span) % contour.perimeter)) for s in shares)[2]
