"""What commands do to the order's text: edges: names, bends that divide them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, ClassVar

from nesting.page import protocol as ask
from nesting.page.editing import Edit, Edits, Refused, raws
from nesting.page.ordertext import OrderText
from nesting.page.pieces_doc import drawn_body
from nesting.page.words import point
from nesting.pieces.edges import anchor_near
from nesting.pieces.prepare import sound

__all__ = ["EdgeEdits"]


class EdgeEdits(Edits):
    """Edges: names, bends that divide them."""

    def _edge_name(self, cmd: ask.EdgeName) -> Edit:
        name = cmd.name.strip()
        self.piece_key(cmd.piece, cmd.size)
        _good_name(name, cmd.piece)
        text = self.text
        for index, one in enumerate(self.raw("edge")):
            if one.get("piece") == cmd.piece and one.get("size") == cmd.size and one.get("name") == (cmd.old or name):
                text = text.set("edge", index, "name", name)
                text = text.set("edge", index, "from", cmd.start).set("edge", index, "to", cmd.end)
                break
        else:
            text = text.add(
                "edge", {"piece": cmd.piece, "size": cmd.size, "name": name, "from": cmd.start, "to": cmd.end}
            )
        if cmd.old and cmd.old != name:
            text = _renamed(text, cmd.piece, cmd.old, name)
        return Edit(f"edge {name} of {cmd.piece}", text)

    def _edge_split(self, cmd: ask.EdgeSplit) -> Edit:
        key = self.piece_key(cmd.piece, cmd.size)
        piece, body = drawn_body(self.survey, key)
        from nesting.page.pieces_doc import edges_of_piece

        edge = next((e for e in edges_of_piece(self.survey, key, piece, body) if e["name"] == cmd.edge), None)
        if edge is None:
            raise Refused(
                "gone", f"there is no edge '{cmd.edge}' on '{cmd.piece}' any more", view="pieces", piece=cmd.piece
            )
        if len(cmd.at) != 2:
            raise Refused("not-a-point", "a point has two coordinates", view="pieces", piece=cmd.piece)
        anchor, at = anchor_near(sound(self.survey.drawn[key].piece), (cmd.at[0], cmd.at[1]), cmd.reach_mm)
        if anchor in (edge["start"], edge["end"]):
            raise Refused(
                "at-its-end",
                "that is where the edge ends already: click farther along it",
                view="pieces",
                piece=cmd.piece,
                edge=cmd.edge,
            )
        names = [*cmd.names, None, None][:2]
        base = cmd.edge if edge["named"] else "edge"
        taken = {e["name"] for e in edges_of_piece(self.survey, key, piece, body)} | {
            str(one.get("name")) for one in self.raw("edge") if one.get("piece") == cmd.piece
        }
        first = (names[0] or "").strip() or (cmd.edge if edge["named"] else _free(base, taken))
        second = (names[1] or "").strip() or _free(base, taken | {first})
        for name in (first, second):
            _good_name(name, cmd.piece)
        size = None if cmd.every_size else cmd.size
        text = self.text
        old = [
            i
            for i, one in enumerate(self.raw("edge"))
            if one.get("piece") == cmd.piece and one.get("name") == cmd.edge and one.get("size") == size
        ]
        if old:
            text = text.set("edge", old[0], "name", first).set("edge", old[0], "to", anchor)
        else:
            values = {"piece": cmd.piece, "size": size, "name": first, "from": edge["start"], "to": anchor}
            text = text.add("edge", values)
        text = text.add("edge", {"piece": cmd.piece, "size": size, "name": second, "from": anchor, "to": edge["end"]})
        result = {"anchor": anchor, "at": point(at), "names": [first, second]}
        return Edit(f"edge {cmd.edge} of {cmd.piece} divided", text, result)

    def _edge_join(self, cmd: ask.EdgeJoin) -> Edit:
        key = self.piece_key(cmd.piece, cmd.size)
        from nesting.page.pieces_doc import edges_of_piece

        piece, body = drawn_body(self.survey, key)
        edges = {e["name"]: e for e in edges_of_piece(self.survey, key, piece, body)}
        gone = [name for name in cmd.edges if name not in edges]
        if gone or len(cmd.edges) < 2:
            raise Refused("gone", "click two or more edges that follow one another", view="pieces", piece=cmd.piece)
        left = [edges[name] for name in cmd.edges]
        chain = [left.pop(0)]
        while left:
            following = next((e for e in left if e["start"] == chain[-1]["end"]), None)
            before = next((e for e in left if e["end"] == chain[0]["start"]), None)
            if following is not None:
                chain.append(following)
                left.remove(following)
            elif before is not None:
                chain.insert(0, before)
                left.remove(before)
            else:
                raise Refused(
                    "not-in-a-row",
                    "these edges do not follow one another: choose neighbours",
                    view="pieces",
                    piece=cmd.piece,
                )
        name = cmd.name.strip()
        _good_name(name, cmd.piece)
        text = self.text
        for one in chain:
            mine = [
                i
                for i, raw in enumerate(raws(text, "edge"))
                if raw.get("piece") == cmd.piece
                and raw.get("name") in (one["name"], name)
                and raw.get("size") == cmd.size
            ]
            for index in reversed(mine):
                text = text.remove("edge", index)
        ends = {"from": chain[0]["start"], "to": chain[-1]["end"]}
        text = text.add("edge", {"piece": cmd.piece, "size": cmd.size, "name": name, **ends})
        for one in chain:
            if one["named"] and one["name"] != name:
                text = _renamed(text, cmd.piece, one["name"], name)
        return Edit(f"edge {name} of {cmd.piece}", text)

    def _edge_unname(self, cmd: ask.EdgeUnname) -> Edit:
        mine = [
            i
            for i, one in enumerate(self.raw("edge"))
            if one.get("piece") == cmd.piece and one.get("name") == cmd.name and one.get("size") == cmd.size
        ]
        if not mine:
            raise Refused(
                "not-ours",
                f"the name '{cmd.name}' stands in the drawing: change it there",
                view="pieces",
                piece=cmd.piece,
            )
        text = self.text.remove("edge", mine[0])
        text = Edits(text, self.survey).set_piece(cmd.piece, cmd.size, ("finish", cmd.name), None)
        return Edit(f"name {cmd.name} of {cmd.piece} taken away", text)

    does: ClassVar[Mapping[type[ask.Command], Callable[..., Edit]]] = {
        ask.EdgeName: _edge_name,
        ask.EdgeSplit: _edge_split,
        ask.EdgeJoin: _edge_join,
        ask.EdgeUnname: _edge_unname,
    }


def _renamed(text: OrderText, piece: str, old: str, new: str) -> OrderText:
    """Seams, trims, finishes and alterations that called an edge by its old name."""

    def edge(value: Any) -> Any:
        if isinstance(value, list):
            return [edge(one) for one in value]
        return f"{piece}.{new}" if value == f"{piece}.{old}" else value

    for kind in ("seam", "trim", "opening"):
        for index, one in enumerate(raws(text, kind)):
            if "edges" in one and edge(one["edges"]) != one["edges"]:
                text = text.set(kind, index, "edges", edge(one["edges"]))
    for index, one in enumerate(raws(text, "piece")):
        finish = one.get("finish")
        if one.get("name") == piece and isinstance(finish, dict) and old in finish:
            text = text.set("piece", index, ("finish", new), finish[old]).set("piece", index, ("finish", old), None)
    for index, one in enumerate(raws(text, "alter")):
        if one.get("edge") == old and piece in (one.get("piece"), *(one.get("pieces") or [])):
            text = text.set("alter", index, "edge", new)
    return text


def _good_name(name: str, piece: str) -> None:
    if not name or re.fullmatch(r"\d+-\d+", name) or "." in name or len(name) > 60:
        raise Refused(
            "not-a-name",
            f"'{name}' will not do as a name: a word such as side or waist, without a full stop",
            ["waist", "side", "leg", "crotch", "hem"],
            view="pieces",
            piece=piece,
        )


def _free(base: str, taken: set[str]) -> str:
    number = 2 if base in taken else 1
    name = base if base not in taken else f"{base} 2"
    while name in taken:
        number += 1
        name = f"{base} {number}"
    return name
