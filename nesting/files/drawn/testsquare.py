"""Measuring a drawn test square, by which people check that a drawing is at full size."""

from __future__ import annotations

from collections.abc import Sequence

from nesting.files.drawn import outline
from nesting.files.drawn.context import Context
from nesting.files.drawn.sketch import Group, Stroke, Text
from nesting.files.drawn.texts import square_side_mm
from nesting.model.piece import Point

__all__ = ["take_test_square"]


def take_test_square(root: Group, ctx: Context) -> float | None:
    """Measure test squares and take them out of the drawing."""
    squares: list[tuple[Group, Stroke]] = []
    stated: list[tuple[float, Text, Group]] = []
    for chain in root.walk():
        group = chain[-1]
        for text in group.texts:
            side = square_side_mm(text.text, known=group.label.role == "test")
            if side:
                stated.append((side, text, group))
    for chain in root.walk():
        group = chain[-1]
        for stroke in group.strokes:
            if stroke.role == "test" and (stroke.closed or len(stroke.points) > 2):
                squares.append((group, stroke))
            elif stroke.role is None and stroke.closed and _is_square(stroke.points):
                x0, y0, x1, y1 = outline.box(stroke.points)
                if any(x0 <= t.at[0] <= x1 and y0 <= t.at[1] <= y1 for _, t, _ in stated):
                    squares.append((group, stroke))
    measured: float | None = None
    for group, stroke in squares:
        x0, y0, x1, y1 = outline.box(stroke.points)
        sides = (x1 - x0, y1 - y0)
        if min(sides) <= 0:
            continue
        group.strokes.remove(stroke)
        if measured is not None:
            continue
        measured = sum(sides) / 2
        said = [s for s, t, g in stated if g is group or (x0 <= t.at[0] <= x1 and y0 <= t.at[1] <= y1)]
        names = (square_side_mm(words, known=True) for words in (stroke.name, group.name) if words)
        said += [side for side in names if side]
        _tell(sides, said[0] if said else (stated[0][0] if stated else None), ctx)
    for chain in root.walk():
        # what else belongs to a test square: its cross lines and its text
        chain[-1].strokes[:] = [s for s in chain[-1].strokes if s.role != "test"]
        if squares:
            chain[-1].texts[:] = [t for t in chain[-1].texts if not any(t is s for _, s, _ in stated)]
    return measured


def _tell(sides: tuple[float, float], want: float | None, ctx: Context) -> None:
    """What a test square measures against what it says, mm: within half a per cent nothing is told."""
    if want is not None and any(abs(side - want) > 0.005 * want for side in sides):
        ctx.note(
            "warning",
            f"the test square measures {sides[0]:.2f} × {sides[1]:.2f} mm but says {want:g} mm: the drawing "
            "is not at full size; export it again at 100 % or give its units in the order",
            code="test-square.wrong",
            forbids=True,
        )
    elif want is None:
        ctx.note(
            "note",
            f"the test square measures {sides[0]:.2f} × {sides[1]:.2f} mm; compare with yours",
            code="test-square.measured",
        )


def _is_square(points: Sequence[Point]) -> bool:
    x0, y0, x1, y1 = outline.box(points)
    w, h = x1 - x0, y1 - y0
    return w > 0 and h > 0 and 0.5 < w / h < 2 and abs(abs(outline.area(points)) - w * h) < 1e-6 * w * h
