"""Every tolerance of the program in one place, each with its dimension and its reason."""

from __future__ import annotations

__all__ = [
    "BOUND_MM",
    "CHORD_MM",
    "EDGE_MM",
    "FOLD_MM",
    "JOIN_GAP_MM",
    "LARGEST_MM",
    "MARK_MM",
    "OVERLAP_MM",
    "OVERLAP_SHARE",
    "REPEAT_MM",
    "SEAM_MM",
    "SEARCH_CHORD_MM",
    "SHAPE_MM",
    "TOGETHER_MM",
]

#: mm. Curves are flattened so that no chord leaves its curve by more than this.
CHORD_MM = 0.01
#: mm. What steers the search may leave the fine outlines by this much; what is kept apart are the fine ones.
SEARCH_CHORD_MM = 0.1
#: mm. Ends of segments that lie this near are taken as touching when an outline is put together.
JOIN_GAP_MM = 0.5
#: mm. A laid outline may differ from its pattern piece by this much (writing to a file rounds).
SHAPE_MM = 0.01
#: mm. A fold edge may be this far from its fold line.
FOLD_MM = 0.01
#: mm. What numbers in files round off may stick out of the cloth, or lack of a gap.
EDGE_MM = 1e-3
#: mm. A bound sees every outline this much smaller all round, so that it holds for all that passes as a lay: what a
#: laid outline may differ, what its fold edge may be off, what it may stick out, lack or overlap.
BOUND_MM = SHAPE_MM + FOLD_MM + 2 * EDGE_MM
#: mm. A notch or mark may be this far from where its piece carries it.
MARK_MM = 0.01
#: mm. Pieces that lie deeper in one another overlap, however little area they share.
OVERLAP_MM = 0.02
#: share of the smaller piece's area. Overlap beyond it is an overlap (below it: rounding).
OVERLAP_SHARE = 1e-6
#: mm. Match points agree modulo the repeat within this.
REPEAT_MM = 0.05
#: mm. Seams that are joined may differ by this: patterns are trued to 1/16 in ("10 Patternwork Skills", 2018/19).
SEAM_MM = 25.4 / 16
#: mm. Outlines that are cut together agree where they run together within this (cut tolerance of linings and
#: main pieces, Industrial Cutting of Textile Materials, table 13.1: other edges ± 1 mm).
TOGETHER_MM = 1.0
#: mm. No drawing of a garment reaches this size; beyond it the units are wrong.
LARGEST_MM = 100_000.0
