"""What holds for all tests: nothing is kept in the user's own cache folder; random examples are the same each time, and
exploring is asked for by NESTING_EXPLORE=1 or NESTING_EXAMPLES."""

from __future__ import annotations

import os
import tempfile

from hypothesis import settings

_KEPT = tempfile.TemporaryDirectory(prefix="nesting-tests-")
os.environ["NESTING_CACHE"] = _KEPT.name

settings.register_profile("same", derandomize=True)
settings.register_profile("explore", derandomize=False)
_EXPLORING = os.environ.get("NESTING_EXAMPLES") or os.environ.get("NESTING_EXPLORE")
settings.load_profile("explore" if _EXPLORING else "same")
