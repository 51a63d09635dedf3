"""The independent proof of a lay. It trusts nothing: from the order's pieces, the cloth and each placement's place,
turn and plies it works everything out anew with shapely, by code of its own.

::

    prove ── table_of ── plies and folds of each section, from the cloth        (table)
          ├─ judge ───── each placement: shape, marks, turn, fold, cloth        (placing, pattern, turning)
          ├─ cut_through the cloth pieces that come off, on opened-out cloth    (unfold)
          ├─ counts, hands, copies; overlaps and gaps                           (counting, nearness)
          └─ lengths, shares, stripes                                           (figures, matching)
"""

from nesting.proof.proving import prove, require
from nesting.proof.verdict import Failure, FailureKind, Verdict

__all__ = ["Failure", "FailureKind", "Verdict", "prove", "require"]
