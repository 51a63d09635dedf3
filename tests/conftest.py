"""What holds for all tests: nothing is kept in the user's own cache folder."""

from __future__ import annotations

import os
import tempfile

_KEPT = tempfile.TemporaryDirectory(prefix="nesting-tests-")
os.environ["NESTING_CACHE"] = _KEPT.name
