"""What the commands of one page work on: the order's workspace, its lays, the searches, and what was asked last."""

from __future__ import annotations

import shlex
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from nesting.page.documents import Problem
from nesting.page.editing import Refused
from nesting.page.history import Step
from nesting.page.lays import Lays
from nesting.page.runs import Run, Runs
from nesting.page.words import problem_of, refusal
from nesting.page.workspace import Workspace

if TYPE_CHECKING:
    from nesting.model.lay import Lay

__all__ = ["ORDER_DOCS", "Desk", "Done", "docs_of", "problem_from"]

#: what a command answers, the documents that it changed, and what it is called in undo
Done = tuple[dict[str, Any], list[str], str]

#: every document, in the order in which the page asks for them; a change of the order may change each
ORDER_DOCS = ("state", "pieces", "seams", "alterations", "cloth", "lay", "buy", "remnants", "batch", "cut")


@dataclass(eq=False)
class Desk:
    """``workers`` processes search. ``opener`` opens another page, of an order that is made from this one, and gives
    its address. ``run`` is the last search, ``latest`` its best lays by cloth while it is at work. ``command`` repeats
    on the command line what was asked last, ``printed`` what was printed last."""

    work: Workspace
    lays: Lays
    runs: Runs
    workers: int
    opener: Callable[[Path], str] | None = None
    run: Run | None = None
    latest: dict[str, Lay] = field(default_factory=dict)
    command: str = ""
    printed: str = ""

    def __post_init__(self) -> None:
        self.command = self.command or self.check_command()

    def check_command(self) -> str:
        """The command that judges the order."""
        return f"nesting check {shlex.quote(self.work.path.name)}"


def docs_of(step: Step | None) -> list[str]:
    """The documents that a step changed."""
    if step is None:
        return []
    docs = {"state"}
    for name in step.changes:
        if name == "order":
            docs |= set(ORDER_DOCS)
        elif name.startswith(("lay:", "spreads:")):
            docs |= {"lay", "cut"}
        elif name.startswith(("ticks:", "projector")):
            docs |= {"cut"}
        elif name == "declined":
            docs |= {"pieces", "seams"}
    return [one for one in ORDER_DOCS if one in docs]


def problem_from(error: BaseException) -> Problem:
    """The problem that an exception is, for a reply."""
    if isinstance(error, Refused):
        return refusal(error.code, str(error), error.choices, **error.where)
    if isinstance(error, msgspec.ValidationError | msgspec.DecodeError):
        return refusal("not-understood", f"The page sent what the server does not understand: {error}.")
    return problem_of(error)
