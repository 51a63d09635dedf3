"""What holds for all tests: nothing is kept in the user's own cache folder; random examples are the same each time, and
exploring is asked for by NESTING_EXPLORE=1 or NESTING_EXAMPLES."""

from __future__ import annotations

import os
import tempfile

from hypothesis import HealthCheck, settings

# the workers of one run share what is kept
if "PYTEST_XDIST_WORKER" not in os.environ:
    _KEPT = tempfile.TemporaryDirectory(prefix="nesting-tests-")
    os.environ["NESTING_CACHE"] = _KEPT.name

# no test fails for a machine that is busy with something else
_PATIENT = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("same", derandomize=True, **_PATIENT)
settings.register_profile("explore", derandomize=False, **_PATIENT)
_EXPLORING = os.environ.get("NESTING_EXAMPLES") or os.environ.get("NESTING_EXPLORE")
settings.load_profile("explore" if _EXPLORING else "same")
