"""What commands do to the order's text: seams, pieces cut together, alterations."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, ClassVar

from nesting.model.errors import NestingError
from nesting.model.units import parse_length
from nesting.page import protocol as ask
from nesting.page.editing import Edit, Edits, Refused

__all__ = ["SeamEdits"]


class SeamEdits(Edits):
    """Seams, pieces cut together, alterations."""

    def _seam_add(self, cmd: ask.SeamAdd) -> Edit:
        values: dict[str, Any] = {"edges": _sides(cmd.sides)}
        values["ease"] = self.read("seam", "ease", cmd.ease, "new")
        values["ratio"] = self.read("seam", "ratio", cmd.ratio, "new")
        values["match"] = True if cmd.match else None
        flat = [edge for side in cmd.sides for edge in ([side] if isinstance(side, str) else side)]
        if len(set(flat)) < len(flat):
            raise Refused("twice", "an edge cannot be sewn to itself: click another one", view="seams")
        text = self.text.add("seam", values)
        return Edit(f"seam {' to '.join(flat)}", text, {"index": self.text.count("seam")})

    def _seam_set(self, cmd: ask.SeamSet) -> Edit:
        return self.set("seam", cmd.index, cmd.key, cmd.value, f"seam {cmd.index + 1}")

    def _seam_remove(self, cmd: ask.SeamRemove) -> Edit:
        self.block("seam", cmd.index)
        return Edit(f"seam {cmd.index + 1} taken out", self.text.remove("seam", cmd.index), lenient=True)

    def _together_add(self, cmd: ask.TogetherAdd) -> Edit:
        for piece in (cmd.leader, cmd.follower):
            if not piece:
                raise Refused("empty", "choose both pieces: the one that leads, and the one cut with it", view="seams")
            self.piece_key(piece, None)
        shape = self.read("together", "shape", cmd.shape, cmd.follower)
        text = self.text.add("together", {"leader": cmd.leader, "follower": cmd.follower, "shape": shape})
        return Edit(f"{cmd.follower} cut with {cmd.leader}", text, {"index": self.text.count("together")})

    def _together_set(self, cmd: ask.TogetherSet) -> Edit:
        one = self.block("together", cmd.index)
        if cmd.key in ("leader", "follower"):
            raise Refused("not-here", "take this pair apart and choose another", view="seams")
        return self.set("together", cmd.index, cmd.key, cmd.value, str(one.get("follower")))

    def _together_remove(self, cmd: ask.TogetherRemove) -> Edit:
        one = self.block("together", cmd.index)
        return Edit(f"{one.get('follower')} cut by itself", self.text.remove("together", cmd.index), lenient=True)

    def alteration(self, cmd: ask.AlterAdd | ask.AlterTry) -> dict[str, Any]:
        """The [[alter]] block that a command asks for."""
        if not cmd.pieces:
            raise Refused("empty", "choose the piece to change", view="alterations")
        for piece in cmd.pieces:
            self.piece_key(piece, cmd.size)
        values: dict[str, Any] = {}
        if len(cmd.pieces) == 1:
            values["piece"] = cmd.pieces[0]
        else:
            values["pieces"] = list(cmd.pieces)
        values["size"] = cmd.size
        if cmd.wearer is not None:
            values["wearer"] = cmd.wearer
        values["kind"] = cmd.kind
        values["at"] = _as_length(cmd.at) if cmd.at is not None else None
        if re.match(r"\s*[-−]\s*\d", str(values["at"])):
            raise Refused(
                "not-a-length",
                f"{values['at']} is before the tail of the grain arrow, from which it is measured: take the minus away",
                view="alterations",
                field="at",
            )
        if values["at"] is not None and _is_length(values["at"]):
            # the page draws and drags the line as measured from there
            values["from"] = "tail"
        values["edge"] = cmd.edge
        values["by"] = _as_length(cmd.by)
        values["hold"] = list(cmd.hold) or None
        for key, value in values.items():
            if value is not None:
                self.read("alter", key, value, "new")
        return values

    def _alter_add(self, cmd: ask.AlterAdd) -> Edit:
        values = self.alteration(cmd)
        index = self.text.count("alter")
        return Edit(f"{cmd.kind} {' and '.join(cmd.pieces)}", self.text.add("alter", values), {"index": index})

    def _alter_set(self, cmd: ask.AlterSet) -> Edit:
        value = _as_length(cmd.value) if cmd.key in ("by", "at") and isinstance(cmd.value, int | float) else cmd.value
        return self.set("alter", cmd.index, cmd.key, value, f"alteration {cmd.index + 1}")

    def _alter_remove(self, cmd: ask.AlterRemove) -> Edit:
        self.block("alter", cmd.index)
        return Edit(f"alteration {cmd.index + 1} taken out", self.text.remove("alter", cmd.index), lenient=True)

    does: ClassVar[Mapping[type[ask.Command], Callable[..., Edit]]] = {
        ask.SeamAdd: _seam_add,
        ask.SeamSet: _seam_set,
        ask.SeamRemove: _seam_remove,
        ask.TogetherAdd: _together_add,
        ask.TogetherSet: _together_set,
        ask.TogetherRemove: _together_remove,
        ask.AlterAdd: _alter_add,
        ask.AlterSet: _alter_set,
        ask.AlterRemove: _alter_remove,
    }


def _sides(sides: list[str | list[str]]) -> list[Any]:
    if len(sides) < 2 or any(not side for side in sides):
        raise Refused("one-side", "a seam has two sides: click an edge, then its partner", view="seams")
    return [side if isinstance(side, str) else side[0] if len(side) == 1 else list(side) for side in sides]


def _as_length(value: Any) -> Any:
    """A length as the order has it: numbers of the page are mm; words stay as they are typed."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{round(float(value) / 10, 3):g} cm"
    text = str(value).strip()
    return int(text) if text.isdigit() else text


def _is_length(value: Any) -> bool:
    """Whether a place is a distance, not the number of a corner or a notch's name."""
    try:
        return isinstance(value, str) and parse_length(value, None) >= 0.0
    except NestingError:
        return False
