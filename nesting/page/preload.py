"""Loaded once by the fork server, so that every run begins with the search in memory: what is slow is done here.

Importing this module loads the compiled kernels; only the fork server does.
"""

from __future__ import annotations

import nesting.page.run_child
from nesting.api import lay_proved
from nesting.cli import buying_commands
from nesting.packing.search.warm import compiled, warm_up

__all__ = ["LOADED"]

LOADED = (nesting.page.run_child, lay_proved, buying_commands)

if compiled():
    # only from the cache: compiling takes long and is told to people by a run of its own
    warm_up()
