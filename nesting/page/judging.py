"""Lays judged by the proof beside everything else, one at a time for each cloth."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

from nesting.page.desk import problem_from
from nesting.page.lays import Lays

__all__ = ["Judging"]


class Judging:
    """``spawn`` begins a task, ``tell`` sends an event to all tabs, ``watched`` says whether anybody looks."""

    def __init__(
        self,
        lays: Lays,
        spawn: Callable[[Any], None],
        tell: Callable[[dict[str, Any]], None],
        watched: Callable[[], bool],
    ) -> None:
        self._lays, self._spawn, self._tell, self._watched = lays, spawn, tell, watched
        #: cloths that are being judged, and whether their lay has changed since
        self._at_work: dict[str, bool] = {}

    def judge(self, cloth: str) -> None:
        """Have the lay of a cloth judged; the verdict comes as an event."""
        if cloth in self._at_work:
            self._at_work[cloth] = True  # once more when the one at work is done
            return
        self._at_work[cloth] = False
        self._spawn(self._judged(cloth))

    async def _judged(self, cloth: str) -> None:
        try:
            while True:
                self._at_work[cloth] = False
                known = self._lays.known_verdict(cloth)
                try:
                    verdict = known or await asyncio.to_thread(self._lays.judge, cloth)
                except Exception as error:
                    verdict = None
                    self._tell({"event": "judged", "cloth": cloth, "judged": {
                        "of": 0, "ok": False, "lay_length": 0.0, "buy_length": 0.0,
                        "failures": [{"code": "our-fault", "message": problem_from(error)["message"], "laid": [],
                                      "at": None}]}})  # fmt: skip
                if self._at_work[cloth]:
                    continue
                if verdict is not None and (known is None or self._watched()):
                    self._tell({"event": "judged", "cloth": cloth, "judged": verdict})
                return
        finally:
            self._at_work.pop(cloth, None)
