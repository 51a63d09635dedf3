"""The mat: sheets of paper with markers, laid flat around what is photographed.

::

    page (A4 or Letter)            board of 6 × 8 squares of 30 mm
    ┌───────────────┐              white squares hold markers of 22 mm, each with a number of its own
    │ ├── words ──┤ │              inner corners of the squares: 5 × 7, read to a few hundredths of a pixel
    │┬┌──────────┐  │
    │││  board    │  │             sheet frame: mm, origin in the middle of the board, y up on the page
    │││           │  │             bars: 240 mm upright, 180 mm level, to be measured from tick to tick
    │┴└──────────┘  │
    │  ├── bar ───┤ │
    └───────────────┘

Corners where two black squares meet are saddle points of the brightness: blur, which moves the corners of a single
black square inwards, leaves them where they are. That is why the corners of the markers only find the way.
The markers are of the ArUco dictionary 5X5_1000 (S. Garrido-Jurado et al., Pattern Recognition 47, 2014,
doi:10.1016/j.patcog.2014.01.005).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

__all__ = [
    "BAR_LEVEL_MM",
    "BAR_UPRIGHT_MM",
    "COLUMNS",
    "MARKERS_A_SHEET",
    "MARKER_MM",
    "MOST_SHEETS",
    "ROWS",
    "SQUARE_MM",
    "Bars",
    "corner_points",
    "marker_bits",
    "marker_cells",
    "marker_ring",
]

Array = npt.NDArray[np.float64]

SQUARE_MM = 30.0
MARKER_MM = 22.0
COLUMNS, ROWS = 6, 8
MARKERS_A_SHEET = COLUMNS * ROWS // 2
#: The dictionary has 1000 markers.
MOST_SHEETS = 1000 // MARKERS_A_SHEET
#: mm. The bars as they are drawn; both fit A4 and Letter with the margins that printers need.
BAR_LEVEL_MM = SQUARE_MM * COLUMNS
BAR_UPRIGHT_MM = SQUARE_MM * ROWS
#: mm. A ruler is read to a fifth of a millimetre.
RULER_DOUBT_MM = 0.2
#: Share. Printers miss full size by up to about 1 %; "fit to page" by 3 to 6 %. Beyond this the bars were misread.
MOST_SCALE = 0.1


@dataclass(frozen=True)
class Bars:
    """The bars as measured on the printed sheets, mm, and how far each reading may be off.

    Raises ValueError where a bar is not within a tenth of its drawn length.
    """

    level: float = BAR_LEVEL_MM
    upright: float = BAR_UPRIGHT_MM
    doubt: float = RULER_DOUBT_MM

    def __post_init__(self) -> None:
        for name, value, drawn in (("level", self.level, BAR_LEVEL_MM), ("upright", self.upright, BAR_UPRIGHT_MM)):
            if not abs(value / drawn - 1.0) <= MOST_SCALE:
                raise ValueError(
                    f"the {name} bar is drawn {drawn:g} mm long and was measured as {value:g} mm; that is no print of "
                    "the mat, or the bars were changed over"
                )
        if not 0.0 <= self.doubt <= 5.0:
            raise ValueError(f"the doubt of a bar must be 0 to 5 mm, got {self.doubt:g}")

    @property
    def scale(self) -> tuple[float, float]:
        """Printed per drawn size, (level, upright)."""
        return self.level / BAR_LEVEL_MM, self.upright / BAR_UPRIGHT_MM

    @property
    def scale_doubt(self) -> tuple[float, float]:
        """How far each scale may be off, as a share."""
        return self.doubt / BAR_LEVEL_MM, self.doubt / BAR_UPRIGHT_MM


def marker_cells() -> tuple[tuple[int, int], ...]:
    """(column, row) of the white squares, rows from the top, in the order of their markers' numbers."""
    return tuple((i, j) for j in range(ROWS) for i in range(COLUMNS) if (i + j) % 2)


def marker_ring(number: int) -> Array:
    """(4, 2) corners of a sheet's marker (0 to 23) in its frame, mm: clockwise from the top left."""
    i, j = marker_cells()[number]
    x, y = (i - COLUMNS / 2 + 0.5) * SQUARE_MM, (ROWS / 2 - j - 0.5) * SQUARE_MM
    h = MARKER_MM / 2
    return np.array([(x - h, y + h), (x + h, y + h), (x + h, y - h), (x - h, y - h)])


@lru_cache(maxsize=1)
def corner_points() -> Array:
    """(35, 2) inner corners of the board in the sheet frame, mm, rows from the top."""
    return np.array(
        [((i - COLUMNS / 2) * SQUARE_MM, (ROWS / 2 - j) * SQUARE_MM) for j in range(1, ROWS) for i in range(1, COLUMNS)]
    )


def marker_bits(sheet: int, number: int) -> npt.NDArray[np.bool_]:
    """(7, 7) cells of a marker, rows from the top, True where black. ``sheet`` counts from 0."""
    import cv2

    image = cv2.aruco.generateImageMarker(dictionary(), sheet * MARKERS_A_SHEET + number, 7)
    return np.asarray(image < 128)


def dictionary() -> cv2.aruco.Dictionary:  # type: ignore[name-defined]  # noqa: F821
    """The markers' dictionary."""
    import cv2

    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
