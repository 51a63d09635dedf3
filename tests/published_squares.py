"""Two published dissections into unequal squares, from their Bouwkamp codes.

A Bouwkamp code lists the squares in groups: each group fills, from left to right, the lowest (and of those the
leftmost) level stretch that the squares before it have left, beginning with the bottom of the rectangle (C. J.
Bouwkamp, On the dissection of rectangles into squares, Proc. Kon. Ned. Akad. Wetensch. 49, 1946; there from the top,
which is the same upside down).
"""

from __future__ import annotations

__all__ = ["MORON", "MORON_SIZE", "SQUARED_SQUARE", "SQUARED_SQUARE_SIDE", "laid_out"]

#: The perfect squared square of least order: 21 squares, side 112. A. J. W. Duijvestijn, Simple perfect squared square
#: of lowest order, J. Combin. Theory B 25 (1978) 240–243.
SQUARED_SQUARE = ((50, 35, 27), (8, 19), (15, 17, 11), (6, 24), (29, 25, 9, 2), (7, 18), (16,), (42,), (4, 37), (33,))
SQUARED_SQUARE_SIDE = 112

#: Nine squares that make a rectangle of 33 × 32. Z. Moroń, O rozkładach prostokątów na kwadraty, Przegląd
#: matematyczno-fizyczny 3 (1925) 152–153.
MORON = ((18, 15), (7, 8), (14, 4), (10, 1), (9,))
MORON_SIZE = (33, 32)


def laid_out(code: tuple[tuple[int, ...], ...], width: int) -> tuple[tuple[int, int, int], ...]:
    """(side, x, y) of each square's lower left corner. ValueError if a group does not fill its level stretch."""
    heights = [0] * width
    squares: list[tuple[int, int, int]] = []
    for group in code:
        level = min(heights)
        x = heights.index(level)
        room = next((i for i, h in enumerate(heights[x:]) if h != level), width - x)
        if sum(group) != room:
            raise ValueError(f"{group} does not fill {room} at height {level}")
        for side in group:
            squares.append((side, x, level))
            heights[x : x + side] = [level + side] * side
            x += side
    return tuple(squares)
