"""What a person with a ruler makes of the placement sheet: the lay, rebuilt from its printed numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from nesting.model.lay import mirrored_over_fold
from nesting.model.piece import Piece
from nesting.report.drawing.grainline import measured_on
from nesting.report.drawing.shapes import turned
from nesting.report.sheet.sheet import Row, Sheet
from nesting.report.words import parse_measure

__all__ = ["Rebuilt", "rebuild"]


@dataclass(frozen=True)
class Rebuilt:
    """Where a row puts its piece: reference point in mm in its section's frame, turn in degrees."""

    row: Row
    x: float
    y: float
    turn: float


def rebuild(numbers: Sheet, pieces: Mapping[tuple[str, str | None], Piece]) -> tuple[Rebuilt, ...]:
    """Where the printed numbers put each piece: what a person with a ruler does, done by arithmetic.

    ``pieces`` are in the grain frame, by name and size. KeyError if one is missing. A fold edge that lies on fold A
    or B is set on it; for all else the ruler decides.
    """
    unit = "in" if numbers.imperial else "cm"
    allowance = parse_measure(numbers.end_allowance, unit)
    out = []
    for row in numbers.rows:
        piece = pieces[(row.piece, row.size)]
        whole = piece if row.line == "centre" or not row.opened else mirrored_over_fold(piece)
        ends = measured_on(whole, row.opened, row.line, parse_measure(row.line_offset, unit))
        turn = float(row.turn.rstrip("°"))
        width = parse_measure(numbers.table_widths[row.section], unit)
        shifts = []
        for (along, beside), (from_edge, from_end) in zip(ends, (row.tail, row.head), strict=True):
            across = parse_measure(from_edge, unit)
            x = parse_measure(from_end, unit) - (allowance if row.section == 0 else 0.0)
            y = across if row.edge == "A" else width - across
            dx, dy = turned((along, -beside if row.flipped else beside), turn)
            shifts.append((x - dx, y - dy))
        x, y = (shifts[0][0] + shifts[1][0]) / 2, (shifts[0][1] + shifts[1][1]) / 2
        on = {"fold edge on fold A": 0.0, "fold edge on fold B": width}.get(row.lies)
        if on is not None and piece.fold is not None:
            # a fold edge is pushed against its fold, whatever the ruler says
            fx, fy = piece.fold[0]
            y = on - turned((fx, -fy if row.flipped else fy), turn)[1]
        out.append(Rebuilt(row, x, y, turn))
    return tuple(out)
