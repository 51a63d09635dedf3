"""The open tabs of a page, and what waits to be told to each."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import Any

__all__ = ["Tab"]

#: events that a slow tab may have waiting; progress is dropped first
QUEUE = 200


@dataclass(eq=False)
class Tab:
    """One open socket. ``name`` is the tab's own."""

    name: str
    queue: asyncio.Queue[dict[str, Any]] = field(default_factory=lambda: asyncio.Queue(QUEUE))
    lost: bool = False

    def put(self, event: dict[str, Any]) -> None:
        """Queue an event; a tab that is too slow loses progress, then its socket (it comes back and asks anew)."""
        if self.queue.qsize() > QUEUE // 2 and event["event"] == "progress":
            return
        try:
            self.queue.put_nowait(event)
        except asyncio.QueueFull:
            self.lost = True
