"""What the commands do to the order's text. Each gives the new text and what to call the step; nothing is written here.

What is typed is read by the readers of orders before it goes into the file, so that nothing gets in that would not come
out again.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from nesting.files.orders.order_finish import finish_from_phrase
from nesting.files.orders.order_schema import BLOCKS, TOP, Key, read_block
from nesting.files.orders.order_values import Place, length
from nesting.model.errors import NestingError, OrderError
from nesting.model.units import format_share, parse_length
from nesting.page import protocol as ask
from nesting.page.ordertext import OrderText
from nesting.page.pieces_doc import drawn_body, why_no_fold
from nesting.page.plain import plain
from nesting.page.proposals import proposals
from nesting.page.renaming import UNNAMED, called_anew
from nesting.page.survey import Survey
from nesting.page.words import point, view_of
from nesting.pieces.edges import anchor_near
from nesting.pieces.prepare import sound

__all__ = ["Edit", "Refused", "edit_of", "new_alteration", "not_held"]

_NUMBERS = {"price", "ratio", "value", "mitre_limit", "tilt", "grain", "factor", "least", "most"}
#: mm: no elastic, lace or seam allowance is as wide, so that a number of centimetres is doubted
WIDE_MM = 60.0
_COUNTS = {"count", "cut", "plies", "max_plies", "openings"}


class Refused(NestingError):
    """A command that cannot be done, with its code for the page and words that would have done."""

    exit_code = 2

    def __init__(self, code: str, message: str, choices: list[str] | None = None, **where: Any) -> None:
        super().__init__(message)
        self.code = code
        self.choices = choices or []
        self.where = where


@dataclass(frozen=True)
class Edit:
    """``text``: the order after the command; ``label``: the step's name, as undo shows it; ``lenient``: it may leave
    something open that was whole (a file dropped, a piece taken out), ``readable``: but no file that cannot be read.
    ``holds``: piece, size, key and value that the order must have when it is read again, or nothing was done.
    ``renamed``: what a piece was called before, and what it is called now."""

    label: str
    text: OrderText
    result: dict[str, Any] = field(default_factory=dict)
    lenient: bool = False
    holds: tuple[str, str | None, str, Any] | None = None
    readable: bool = False
    renamed: tuple[str, str] | None = None


def edit_of(cmd: ask.Command, text: OrderText, survey: Survey) -> Edit | None:
    """What a command does to the order; None for a command that is none of the order's.

    Raises a NestingError where it cannot be done: OrderError, UnitsError from reading what was typed, Refused.
    """
    work = _Edits(text, survey)
    name = "_" + type(cmd).__struct_config__.tag.replace(".", "_")  # type: ignore[union-attr]
    handler = getattr(work, name, None)
    made = handler(cmd) if handler is not None else None
    return made if isinstance(made, Edit) else None


def not_held(made: Edit, after: Survey) -> Refused | None:
    """What is said where the order, read again, has another value than the one that was set; None where it holds."""
    if made.holds is None:
        return None
    piece, size, key, value = made.holds
    want = read_block({key: value}, [one for one in BLOCKS["piece"] if one.name == key], Place(after.path.name))[key]
    for at, asked in after.asked.items():
        if at[0] == piece and size in (None, at[1]) and asked[key] != want:
            return Refused(
                "not-held",
                f"{key.replace('_', ' ')} of '{piece}' would still be {asked[key]}, not {value}: the order says "
                "something else of it in another place. Nothing was changed",
                view="pieces",
                piece=piece,
            )
    return None


def new_alteration(cmd: ask.AlterTry, text: OrderText, survey: Survey) -> dict[str, Any]:
    """The [[alter]] block that a trial asks for, read as an order's would be."""
    return _Edits(text, survey).alteration(cmd)


def _plain(value: Any, key: str, place: Place) -> Any:
    """Numbers that came as typed: "14,90" is 14.9."""
    if isinstance(value, str) and key in _NUMBERS | _COUNTS:
        text = value.strip().replace(",", ".")
        try:
            number = float(text)
        except ValueError:
            if key in ("count", "ratio", "factor", "least", "most"):
                return value  # "most", "90 %": for the reader to judge
            whole = "a whole number" if key in _COUNTS else "a plain number"
            example = "2" if key in _COUNTS else {"price": "14.90", "grain": "90", "tilt": "2"}.get(key, "0.9")
            place.refuse(f"found '{value}'; {whole} was expected, such as {example}")
        if key in _COUNTS:
            if number != int(number):
                place.refuse(f"found '{value}'; a whole number was expected")
            return int(number)
        return number
    return value


class _Edits:
    def __init__(self, text: OrderText, survey: Survey) -> None:
        self.text = text
        self.survey = survey
        self.root = Place(survey.path.name, units=survey.document.get("units"))

    # --- helpers

    def _raw(self, kind: str) -> list[dict[str, Any]]:
        return [one for one in self.survey.document.get(kind, []) if isinstance(one, dict)]

    def _read(self, kind: str, key: str, value: Any, name: str | int) -> Any:
        """The value as it may be written, having been read by the order's own reader."""
        keys = TOP if kind == "top" else BLOCKS.get(kind, ())
        spec: Key | None = next((one for one in keys if one.name == key), None)
        place = self.root if kind == "top" else self.root.at(f"{kind}[{name}]")
        if spec is None:
            raise OrderError(
                f"there is no '{key}' to be set here",
                file=self.root.file,
                key=f"{kind}.{key}",
                code="order.key-unknown",
            )
        if value is None:
            return None
        if isinstance(value, str) and not value.strip():
            return None
        value = _plain(value, key, place.at(key))
        if isinstance(value, str):
            value = value.strip()
        if (kind, key) == ("garment", "ratio") and isinstance(value, float) and value.is_integer():
            value = int(value)
        read_block({key: value}, [spec], place)
        return value

    def _block(self, kind: str, index: int) -> dict[str, Any]:
        raws = self._raw(kind)
        if not 0 <= index < len(raws):
            raise Refused("gone", f"this {plain(f'[[{kind}]]')} is not in the order any more", view=view_of(kind))
        return raws[index]

    def _set(self, kind: str, index: int, key: str, value: Any, what: str) -> Edit:
        name = self._block(kind, index).get("name", index + 1)
        value = self._read(kind, key, value, name)
        return Edit(f"{key.replace('_', ' ')} of {what}", self.text.set(kind, index, key, value))

    def _piece_key(self, piece: str, size: str | None) -> tuple[str, str | None]:
        key = self.survey.piece_of(piece, size)
        if key is None:
            raise Refused("gone", f"there is no piece '{piece}' any more", view="pieces", piece=piece)
        return key

    def _piece_block(self, text: OrderText, piece: str, size: str | None) -> tuple[OrderText, int]:
        import tomllib

        for index, one in enumerate(tomllib.loads(text.text).get("piece", [])):
            if one.get("name") == piece and one.get("size") == size:
                return text, index
        text = text.add("piece", {"name": piece, "size": size})
        return text, text.count("piece") - 1

    def _set_piece(self, piece: str, size: str | None, key: str | tuple[str, ...], value: Any) -> OrderText:
        if value is None and not any(
            one.get("name") == piece and one.get("size") == size for one in self._raw("piece")
        ):
            return self.text
        text, index = self._piece_block(self.text, piece, size)
        text = text.set("piece", index, key, value)
        if size is None and value is not None and isinstance(key, str):
            # what is said of all sizes counts in each: a block of one size would win over it unseen
            for index, one in enumerate(_raws(text, "piece")):
                if one.get("name") == piece and one.get("size") is not None and key in one:
                    text = text.set("piece", index, key, None)
        return text

    # --- the order as a whole

    def _order_set(self, cmd: ask.OrderSet) -> Edit:
        value = self._read("top", cmd.key, cmd.value, "")
        return Edit(f"{cmd.key} of the order", self.text.set_top(cmd.key, value))

    def _garment_set(self, cmd: ask.GarmentSet) -> Edit:
        one = self._block("garment", cmd.index)
        return self._set("garment", cmd.index, cmd.key, cmd.value, str(one.get("name", "the garment")))

    def _garment_add(self, cmd: ask.GarmentAdd) -> Edit:
        values = {
            "name": cmd.name.strip(),
            "size": cmd.size,
            "count": cmd.count,
            "pieces": cmd.pieces,
            "wearer": cmd.wearer,
        }
        for key, value in values.items():
            if value is not None:
                self._read("garment", key, value, cmd.name)
        if not values["name"]:
            raise Refused("empty", "give the garment a name", view="cloth", field="name")
        return Edit(
            f"garment {cmd.name} added", self.text.add("garment", values), {"index": self.text.count("garment")}
        )

    def _garment_remove(self, cmd: ask.GarmentRemove) -> Edit:
        one = self._block("garment", cmd.index)
        return Edit(f"garment {one.get('name')} taken out", self.text.remove("garment", cmd.index), lenient=True)

    def _garment_counts(self, cmd: ask.GarmentCounts) -> Edit:
        text = self.text
        # from the last on: what is taken out moves those behind it
        for index, count in sorted(((int(k) if k.isdigit() else -1, n) for k, n in cmd.counts.items()), reverse=True):
            name = self._block("garment", index).get("name", index + 1)
            if count == 0:
                text = text.remove("garment", index)
            else:
                text = text.set("garment", index, "count", self._read("garment", "count", count, name))
        return Edit("how many of each size", text, lenient=True)

    # --- files and pieces

    def _file_remove(self, cmd: ask.FileRemove) -> Edit:
        one = self._block("pattern", cmd.index)
        return Edit(f"{one.get('file')} taken out", self.text.remove("pattern", cmd.index), lenient=True)

    def _file_set(self, cmd: ask.FileSet) -> Edit:
        if cmd.key == "file":
            raise Refused("not-here", "drop the new file, then take this one out", view="pieces")
        one = self._block("pattern", cmd.index)
        made = self._set("pattern", cmd.index, cmd.key, cmd.value, str(one.get("file")))
        return Edit(made.label, made.text, lenient=True)

    def _file_choose(self, cmd: ask.FileChoose) -> Edit:
        name = str(self._block("pattern", cmd.index).get("file"))
        if cmd.pages == [] or cmd.layers == []:
            what = "page" if cmd.pages == [] else "layer"
            raise Refused("empty", f"leave at least one {what} of '{name}' to be read", view="pieces", file=name)
        pages = self._read("pattern", "pages", cmd.pages, name)
        layers = self._read("pattern", "layer", cmd.layers, name)
        text = self.text.set("pattern", cmd.index, "pages", pages).set("pattern", cmd.index, "layer", layers)
        return Edit(f"what is read of {name}", text, lenient=True, readable=True)

    def _piece_rename(self, cmd: ask.PieceRename) -> Edit:
        key = self._piece_key(cmd.piece, cmd.size)
        drawn = self.survey.drawn[key].piece
        name = cmd.name.strip()
        # by the files that have it: its name there
        called = {str(one.get("file")): {new: old for old, new in dict(one.get("names") or {}).items()}
                  for one in self._raw("pattern")}  # fmt: skip
        there = called.get(str(drawn.file), {}).get(drawn.name, drawn.name)
        if not name and there != drawn.name:
            name = there  # its own name again
        if not name or len(name) > 60 or not name.isprintable() or "." in name or name in ("*", "none"):
            raise Refused("not-a-name", f"'{name}' will not do as a name: a word or two such as front or waistband, "
                          "without a full stop", view="pieces", piece=cmd.piece)  # fmt: skip
        alone = UNNAMED.fullmatch(drawn.name) is not None
        mine = {k: one.piece for k, one in self.survey.drawn.items()
                if k[0] == drawn.name and (one.piece.file == drawn.file or not alone)}  # fmt: skip
        sizes = {k[1] for k in mine}
        taken = next((k for k in self.survey.drawn if k[0] == name and k not in mine and k[1] in sizes), None)
        if taken is not None:
            size = f" in size {taken[1]}" if taken[1] else ""
            raise Refused("twice", f"there is a piece '{name}'{size} already: give this one another name",
                          view="pieces", piece=cmd.piece)  # fmt: skip
        files = {str(one.file): called.get(str(one.file), {}).get(drawn.name, drawn.name)
                 for one in mine.values() if one.file}  # fmt: skip
        left = {k[1] for k in self.survey.drawn if k[0] == drawn.name and k not in mine}
        return Edit(f"{drawn.name} called {name}", called_anew(self.text, drawn.name, name, files, left),
                    {"name": name, "sizes": [k[1] for k in mine if k[1]]},
                    renamed=(drawn.name, name))  # fmt: skip

    def _piece_set(self, cmd: ask.PieceSet) -> Edit:
        self._piece_key(cmd.piece, cmd.size)
        table, dot, edge = cmd.key.partition(".")
        if dot and table in ("allowance", "trim_short"):
            return self._piece_edge(cmd, table, edge)
        if cmd.key in ("name", "size", "finish", "fold"):
            raise Refused("not-here", f"'{cmd.key}' is set in its own way on this view", view="pieces", piece=cmd.piece)
        value = self._read("piece", cmd.key, cmd.value, cmd.piece)
        if cmd.key == "grain" and value is not None:
            value = int(value) if float(value).is_integer() else round(float(value), 2)
        text = self._set_piece(cmd.piece, cmd.size, cmd.key, value)
        if cmd.key == "mirrored" and value is True:
            ready = self.survey.ready.get(self._piece_key(cmd.piece, cmd.size))
            if (ready.cut if ready is not None else 1) % 2:
                # left and right come in pairs
                cut = (ready.cut if ready is not None else 1) + 1
                text = _Edits(text, self.survey)._set_piece(cmd.piece, cmd.size, "cut", cut)
        if cmd.key == "grain":
            drawn = self.survey.drawn[self._piece_key(cmd.piece, cmd.size)].piece
            if drawn.grainline is not None and value is not None:
                raise Refused(
                    "grain-drawn",
                    f"the drawing of '{cmd.piece}' has a grainline of its own, which counts: change it in the drawing",
                    view="pieces",
                    piece=cmd.piece,
                )
        holds = (cmd.piece, cmd.size, cmd.key, value) if value is not None else None
        return Edit(f"{cmd.key.replace('_', ' ')} of {cmd.piece}", text, holds=holds)

    def _piece_edge(self, cmd: ask.PieceSet, table: str, edge: str) -> Edit:
        """A length that belongs to one edge of a piece."""
        value = str(cmd.value).strip() if cmd.value is not None else ""
        if value:
            place = self.root.at(f"piece[{cmd.piece}]").at(table).at(edge)
            length(negative=table == "allowance")(value, place)
        text = self._set_piece(cmd.piece, cmd.size, (table, edge), value or None)
        return Edit(f"{table.replace('_', ' ')} of {cmd.piece}.{edge}", text)

    def _piece_fold(self, cmd: ask.PieceFold) -> Edit:
        key = self._piece_key(cmd.piece, cmd.size)
        if cmd.side is None:
            return Edit(f"no fold on {cmd.piece}", self._set_piece(cmd.piece, cmd.size, "fold", None))
        self._read("piece", "fold", cmd.side, cmd.piece)
        from nesting.page.pieces_doc import edges_of_piece

        piece, body = drawn_body(self.survey, key)
        edges = edges_of_piece(self.survey, key, piece, body)
        would = sorted({str(e["fold_side"]) for e in edges if e["fold_side"]} | {cmd.side for e in edges if e["fold"]})
        from nesting.pieces.contour import cleaned
        from nesting.pieces.grain import straight_sides

        drawn = sound(self.survey.drawn[key].piece)
        ends = {str(side): pair for side, pair in straight_sides(cleaned(drawn.outline)).items()}.get(cmd.side)
        why = (
            f"the {cmd.side} side of '{cmd.piece}' is not one straight edge"
            if ends is None
            else why_no_fold(drawn, list(ends), cmd.side, self.survey.asked[key]["grain"])
        )
        if why is not None:
            do = f"; {' or '.join(would)} would do" if would else ""
            raise Refused(
                "not-a-fold", f"This cannot lie on the fold: {why}{do}.", would, view="pieces", piece=cmd.piece
            )
        text = self._set_piece(cmd.piece, cmd.size, "fold", cmd.side)
        return Edit(f"fold of {cmd.piece}", text, holds=(cmd.piece, cmd.size, "fold", cmd.side))

    def _piece_finish(self, cmd: ask.PieceFinish) -> Edit:
        self._piece_key(cmd.piece, cmd.size)
        value = cmd.finish.strip() if cmd.finish else None
        if value:
            place = self.root.at(f"piece[{cmd.piece}]").at("finish").at(cmd.edge)
            finish_from_phrase(value, place, self.survey.finishes)
            value = self._with_unit(value, cmd)
        text = self._set_piece(cmd.piece, cmd.size, ("finish", cmd.edge), value)
        return Edit(f"finish of {cmd.piece}.{cmd.edge}", text)

    def _with_unit(self, phrase: str, cmd: ask.PieceFinish) -> str:
        """A finish whose number has no unit gets that of the order, to be seen; one that would be as wide as no finish
        is, is asked back."""
        found = re.fullmatch(r"(fold back|seam|elastic|lace) +(\d+(?:[.,]\d+)?)", phrase)
        if found is None:
            return phrase
        here = f"{phrase} {self.survey.units}"
        if parse_length(found[2], self.survey.units) > WIDE_MM:
            there = f"{phrase} mm"
            raise Refused("unit", f"'{phrase}' would be {found[2]} {self.survey.units} wide: was {found[2]} mm meant?",
                          [there, here], view="pieces", piece=cmd.piece, edge=cmd.edge)  # fmt: skip
        return here

    def _edge_name(self, cmd: ask.EdgeName) -> Edit:
        name = cmd.name.strip()
        self._piece_key(cmd.piece, cmd.size)
        _good_name(name, cmd.piece)
        text = self.text
        for index, one in enumerate(self._raw("edge")):
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
        key = self._piece_key(cmd.piece, cmd.size)
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
            str(one.get("name")) for one in self._raw("edge") if one.get("piece") == cmd.piece
        }
        first = (names[0] or "").strip() or (cmd.edge if edge["named"] else _free(base, taken))
        second = (names[1] or "").strip() or _free(base, taken | {first})
        for name in (first, second):
            _good_name(name, cmd.piece)
        size = None if cmd.every_size else cmd.size
        text = self.text
        old = [
            i
            for i, one in enumerate(self._raw("edge"))
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
        key = self._piece_key(cmd.piece, cmd.size)
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
                for i, raw in enumerate(_raws(text, "edge"))
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
            for i, one in enumerate(self._raw("edge"))
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
        text = _Edits(text, self.survey)._set_piece(cmd.piece, cmd.size, ("finish", cmd.name), None)
        return Edit(f"name {cmd.name} of {cmd.piece} taken away", text)

    def _pieces_allowance(self, cmd: ask.PiecesAllowance) -> Edit:
        names = dict.fromkeys(cmd.pieces)
        if not names or not cmd.length.strip():
            asked = "how wide the allowance is, such as 1 cm (0 where there is none)" if names else "which pieces"
            raise Refused("empty", f"say {asked}", view="pieces", field="allowance")
        width = cmd.length.strip()
        length()(width, self.root.at("allowance"))
        # as it is read aloud, wherever it stands in the order
        width = f"{width} {self.survey.units}" if width[-1].isdigit() else width
        text = self.text
        for name in names:
            self._piece_key(name, None)
            lies_in_it = width if cmd.includes else "0 cm"
            text = _Edits(text, self.survey)._set_piece(name, None, ("allowance", "*"), lies_in_it)
            if not cmd.includes:
                text = _Edits(text, self.survey)._set_piece(name, None, ("finish", "*"), f"seam {width}")
        return Edit(f"seam allowance of {', '.join(names)}", text)

    def _proposals_accept(self, cmd: ask.ProposalsAccept) -> Edit:
        offered = proposals(self.survey)
        wanted = [one for one in offered if (one["id"] in cmd.ids if cmd.ids else not one["guess"])]
        if not wanted:
            raise Refused("gone", "these proposals do not stand any more", view="pieces")
        text = self.text
        for one in sorted(wanted, key=lambda p: ("grain", "fold", "cut", "name", "seam", "garment").index(p["kind"])):
            text = self._accepted(text, one)
        return Edit(f"{len(wanted)} proposal{'s' if len(wanted) != 1 else ''} accepted", text)

    def _accepted(self, text: OrderText, one: Any) -> OrderText:
        kind, value = one["kind"], one["value"]
        pieces = dict.fromkeys(name.rpartition("|")[0] for name in one["pieces"])
        if kind == "seam":
            return text.add("seam", {"edges": value["sides"].split("/")})
        for piece in pieces:
            if kind == "name":
                text = text.add(
                    "edge", {"piece": piece, "name": value["name"], "from": value["start"], "to": value["end"]}
                )
            else:
                text, index = self._piece_block(text, piece, None)
                written = int(value) if kind == "grain" and float(value).is_integer() else value
                text = text.set("piece", index, kind, written)
        return text

    # --- bands: pieces without a drawing

    def _bands(self) -> list[int]:
        """The numbers of the [[piece]] blocks that are bands or strips."""
        return [i for i, one in enumerate(self._raw("piece")) if "round" in one or "rectangle" in one]

    def _band(self, index: int) -> tuple[int, dict[str, Any]]:
        found = self._bands()
        if not 0 <= index < len(found):
            raise Refused("gone", "this band is not in the order any more", view="cloth")
        return found[index], self._raw("piece")[found[index]]

    def _band_add(self, cmd: ask.BandAdd) -> Edit:
        name = cmd.name.strip()
        if not name:
            raise Refused("empty", "give the band a name, such as waistband or cuff", view="cloth", field="name")
        if name in {key[0] for key in self.survey.drawn} | {one.get("name") for one in self._raw("piece")}:
            message = f"there is a piece '{name}' already: give this one another name"
            raise Refused("twice", message, view="cloth", field="name")
        if not cmd.round and not any(one.strip() for one in cmd.rectangle):
            raise Refused("empty", "choose the edges that it goes round, or give its measures", view="cloth")
        if cmd.round and not (cmd.height or "").strip():
            raise Refused("empty", "say how high the band is cut, such as 8 cm", view="cloth", field="height")
        values: dict[str, Any] = {"name": name, "size": cmd.size}
        if cmd.round:
            values |= {"round": list(cmd.round), "height": cmd.height, "ratio": cmd.ratio, "join": cmd.join}
        else:
            values |= {"rectangle": [one.strip() for one in cmd.rectangle]}
        values = {key: self._read("piece", key, value, name) for key, value in values.items()}
        return Edit(f"band {name} added", self.text.add("piece", values), {"index": len(self._bands())})

    def _band_set(self, cmd: ask.BandSet) -> Edit:
        index, one = self._band(cmd.index)
        if cmd.key not in ("height", "ratio", "join", "rectangle", "round"):
            raise Refused("not-here", "choose the band under Pieces to change that", view="pieces")
        return self._set("piece", index, cmd.key, cmd.value, str(one.get("name")))

    def _band_remove(self, cmd: ask.BandRemove) -> Edit:
        index, one = self._band(cmd.index)
        return Edit(f"band {one.get('name')} taken out", self.text.remove("piece", index), lenient=True)

    # --- seams

    def _seam_add(self, cmd: ask.SeamAdd) -> Edit:
        values: dict[str, Any] = {"edges": _sides(cmd.sides)}
        values["ease"] = self._read("seam", "ease", cmd.ease, "new")
        values["ratio"] = self._read("seam", "ratio", cmd.ratio, "new")
        values["match"] = True if cmd.match else None
        flat = [edge for side in cmd.sides for edge in ([side] if isinstance(side, str) else side)]
        if len(set(flat)) < len(flat):
            raise Refused("twice", "an edge cannot be sewn to itself: click another one", view="seams")
        text = self.text.add("seam", values)
        return Edit(f"seam {' to '.join(flat)}", text, {"index": self.text.count("seam")})

    def _seam_set(self, cmd: ask.SeamSet) -> Edit:
        return self._set("seam", cmd.index, cmd.key, cmd.value, f"seam {cmd.index + 1}")

    def _seam_remove(self, cmd: ask.SeamRemove) -> Edit:
        self._block("seam", cmd.index)
        return Edit(f"seam {cmd.index + 1} taken out", self.text.remove("seam", cmd.index), lenient=True)

    def _together_add(self, cmd: ask.TogetherAdd) -> Edit:
        for piece in (cmd.leader, cmd.follower):
            if not piece:
                raise Refused("empty", "choose both pieces: the one that leads, and the one cut with it", view="seams")
            self._piece_key(piece, None)
        shape = self._read("together", "shape", cmd.shape, cmd.follower)
        text = self.text.add("together", {"leader": cmd.leader, "follower": cmd.follower, "shape": shape})
        return Edit(f"{cmd.follower} cut with {cmd.leader}", text, {"index": self.text.count("together")})

    def _together_set(self, cmd: ask.TogetherSet) -> Edit:
        one = self._block("together", cmd.index)
        if cmd.key in ("leader", "follower"):
            raise Refused("not-here", "take this pair apart and choose another", view="seams")
        return self._set("together", cmd.index, cmd.key, cmd.value, str(one.get("follower")))

    def _together_remove(self, cmd: ask.TogetherRemove) -> Edit:
        one = self._block("together", cmd.index)
        return Edit(f"{one.get('follower')} cut by itself", self.text.remove("together", cmd.index), lenient=True)

    # --- alterations

    def alteration(self, cmd: ask.AlterAdd | ask.AlterTry) -> dict[str, Any]:
        """The [[alter]] block that a command asks for."""
        if not cmd.pieces:
            raise Refused("empty", "choose the piece to change", view="alterations")
        for piece in cmd.pieces:
            self._piece_key(piece, cmd.size)
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
        if values["at"] is not None and _is_length(values["at"]):
            # the page draws and drags the line as measured from there
            values["from"] = "tail"
        values["edge"] = cmd.edge
        values["by"] = _as_length(cmd.by)
        values["hold"] = list(cmd.hold) or None
        for key, value in values.items():
            if value is not None:
                self._read("alter", key, value, "new")
        return values

    def _alter_add(self, cmd: ask.AlterAdd) -> Edit:
        values = self.alteration(cmd)
        index = self.text.count("alter")
        return Edit(f"{cmd.kind} {' and '.join(cmd.pieces)}", self.text.add("alter", values), {"index": index})

    def _alter_set(self, cmd: ask.AlterSet) -> Edit:
        value = _as_length(cmd.value) if cmd.key in ("by", "at") and isinstance(cmd.value, int | float) else cmd.value
        return self._set("alter", cmd.index, cmd.key, value, f"alteration {cmd.index + 1}")

    def _alter_remove(self, cmd: ask.AlterRemove) -> Edit:
        self._block("alter", cmd.index)
        return Edit(f"alteration {cmd.index + 1} taken out", self.text.remove("alter", cmd.index), lenient=True)

    # --- cloth and people

    def _cloth_set(self, cmd: ask.ClothSet) -> Edit:
        one = self._block("cloth", cmd.index)
        old = str(one.get("name", ""))
        made = self._set("cloth", cmd.index, cmd.key, cmd.value, old)
        if cmd.key == "width" and cmd.value is not None:
            _plausible_width(cmd.value, self.root.units or "cm", old)
        if cmd.key != "name" or not isinstance(cmd.value, str):
            return made
        new, text = cmd.value.strip(), made.text
        for kind in ("piece", "remnant"):
            for index, raw in enumerate(self._raw(kind)):
                if raw.get("cloth") == old:
                    text = text.set(kind, index, "cloth", new)
        for index, raw in enumerate(self._raw("garment")):
            for source, target in dict(raw.get("cloth", {})).items():
                if target == old:
                    text = text.set("garment", index, ("cloth", source), new)
        return Edit(f"name of cloth {old}", text)

    def _cloth_add(self, cmd: ask.ClothAdd) -> Edit:
        name = cmd.name.strip()
        if any(one.get("name") == name for one in self._raw("cloth")):
            raise Refused(
                "twice", f"there is a cloth '{name}' already: give this one another name", view="cloth", field="name"
            )
        self._read("cloth", "name", name, name)
        if not name:
            raise Refused("empty", "give the cloth a name", view="cloth", field="name")
        width = self._read("cloth", "width", cmd.width, name)
        if width is None:
            raise Refused("empty", "say how wide it is, selvage to selvage", view="cloth", field="width")
        _plausible_width(width, self.root.units or "cm", name)
        return Edit(
            f"cloth {name} added",
            self.text.add("cloth", {"name": name, "width": width}),
            {"index": self.text.count("cloth")},
        )

    def _cloth_remove(self, cmd: ask.ClothRemove) -> Edit:
        name = str(self._block("cloth", cmd.index).get("name"))
        using = sorted({cut.name for cut in self.survey.ready.values() if cut.cloth == name})
        if using and len(self._raw("cloth")) > 1:
            message = f"'{name}' is needed for {', '.join(using)}: give another cloth there first"
            raise Refused("in-use", message, view="cloth", cloth=name)
        return Edit(f"cloth {name} taken out", self.text.remove("cloth", cmd.index), lenient=True)

    def _cloth_wash(self, cmd: ask.WashTest) -> Edit:
        return self._tested(cmd.index, {"shrink_along": cmd.along, "shrink_across": cmd.across}, "wash test", -1.0)

    def _cloth_ruler(self, cmd: ask.RulerTest) -> Edit:
        return self._tested(cmd.index, {"stretch_along": cmd.along, "stretch_across": cmd.across}, "ruler test", 1.0)

    def _tested(self, index: int, tests: Mapping[str, list[str] | None], what: str, sign: float) -> Edit:
        name = str(self._block("cloth", index).get("name"))
        text, result = self.text, {}
        for key, pair in tests.items():
            if pair is None:
                continue
            if len(pair) != 2 or not all(one.strip() for one in pair):
                raise Refused("two-lengths", "give both lengths, before and after", view="cloth", cloth=name, field=key)
            before, after = (parse_length(_comma(one), self.root.units or "cm") for one in pair)
            if before <= 0:
                raise Refused("not-a-length", "the first length must be more than nothing", view="cloth", field=key)
            share = sign * (after - before) / before
            if share < 0 or (sign < 0 and share >= 0.5):
                wanted = (
                    "stretched, it is longer than at rest" if sign > 0
                    else "a cloth that grows in the wash is not reckoned with" if share < 0
                    else "so much is not believed"
                )  # fmt: skip
                raise Refused(
                    "unlikely",
                    f"{pair[0]} to {pair[1]}: {wanted}; measure again, the first length first",
                    view="cloth",
                    cloth=name,
                    field=key,
                )
            written = format_share(share, 1)
            text = text.set("cloth", index, key, written)
            result[key.rpartition("_")[2]] = written
        if not result:
            raise Refused("two-lengths", "give both lengths, before and after", view="cloth", cloth=name)
        return Edit(f"{what} of {name}", text, dict(result))

    def _remnant_add(self, cmd: ask.RemnantAdd) -> Edit:
        if not any(one.get("name") == cmd.cloth for one in self._raw("cloth")):
            raise Refused("no-cloth", f"there is no cloth '{cmd.cloth}' in this order", view="cloth", field="cloth")
        values = {"name": cmd.name.strip(), "cloth": cmd.cloth}
        if cmd.from_stash:
            from nesting.page.cloth_doc import stash_file
            from nesting.planning.leftovers.stash import read_stash

            found = next(
                (r for r in read_stash(stash_file(self.survey.path.parent)).remnants if r.name == cmd.name), None
            )
            if found is None or not found.rectangular:
                raise Refused(
                    "not-a-rectangle",
                    f"'{cmd.name}' is used from the stash as it is: start the plan with the stash",
                    view="cloth",
                )
            xs, ys = [p[0] for p in found.outline], [p[1] for p in found.outline]
            values |= {"width": f"{max(ys) - min(ys):g} mm", "length": f"{max(xs) - min(xs):g} mm"}
        else:
            values |= {
                "width": self._read("remnant", "width", cmd.width, cmd.name),
                "length": self._read("remnant", "length", cmd.length, cmd.name),
            }
            if not (values["width"] and values["length"]):
                raise Refused("empty", "give both its width and its length", view="cloth", field="width")
        return Edit(f"leftover {cmd.name} added", self.text.add("remnant", values))

    def _remnant_remove(self, cmd: ask.RemnantRemove) -> Edit:
        one = self._block("remnant", cmd.index)
        return Edit(f"leftover {one.get('name')} taken out", self.text.remove("remnant", cmd.index), lenient=True)

    def _wearer_add(self, cmd: ask.WearerAdd) -> Edit:
        if "wearer" not in BLOCKS:
            raise Refused("not-yet", "this version of the program knows no wearers", view="cloth")
        if not cmd.name.strip():
            raise Refused("empty", "give the wearer a name", view="cloth", field="name")
        values = {"name": cmd.name.strip(), "measures": dict(cmd.measures) or None}
        read_block({k: v for k, v in values.items() if v is not None}, BLOCKS["wearer"], self.root.at("wearer[new]"))
        return Edit(f"wearer {cmd.name} added", self.text.add("wearer", values), {"index": self.text.count("wearer")})

    def _wearer_set(self, cmd: ask.WearerSet) -> Edit:
        one = self._block("wearer", cmd.index)
        name = str(one.get("name"))
        if not cmd.key.startswith("measures."):
            return self._set("wearer", cmd.index, cmd.key, cmd.value, name)
        measure = cmd.key.partition(".")[2]
        value = str(cmd.value).strip() if cmd.value is not None else None
        if value:
            parse_length(_comma(value), self.root.units or "cm")
        text = self.text.set("wearer", cmd.index, ("measures", measure), value or None)
        return Edit(f"{measure} of {name}", text)

    def _wearer_remove(self, cmd: ask.WearerRemove) -> Edit:
        name = self._block("wearer", cmd.index).get("name")
        return Edit(f"wearer {name} taken out", self.text.remove("wearer", cmd.index), lenient=True)

    def _opening_add(self, cmd: ask.OpeningAdd) -> Edit:
        if not cmd.name.strip():
            raise Refused("empty", "give the opening a name, such as leg or waist", view="cloth", field="name")
        if not cmd.edges:
            raise Refused("empty", "choose the edges that go round it", view="cloth", field="edges")
        wanted = {"name": cmd.name.strip(), "edges": list(cmd.edges), "sits": cmd.sits, "passes": cmd.passes}
        values = {key: self._read("opening", key, value, cmd.name) for key, value in wanted.items()}
        if values["sits"] is None and values["passes"] is None:
            raise Refused("empty", "say what it sits on or what it must pass", view="cloth", field="sits")
        index = self.text.count("opening")
        return Edit(f"opening {cmd.name} added", self.text.add("opening", values), {"index": index})

    def _opening_set(self, cmd: ask.OpeningSet) -> Edit:
        one = self._block("opening", cmd.index)
        return self._set("opening", cmd.index, cmd.key, cmd.value, str(one.get("name")))

    def _opening_remove(self, cmd: ask.OpeningRemove) -> Edit:
        name = self._block("opening", cmd.index).get("name")
        return Edit(f"opening {name} taken out", self.text.remove("opening", cmd.index), lenient=True)

    # --- elastic, binding, lace

    def _trim_add(self, cmd: ask.TrimAdd) -> Edit:
        name = cmd.name.strip()
        if not name:
            raise Refused("empty", "give it a name, such as leg elastic 8 mm", view="cloth", field="name")
        if not cmd.edges:
            raise Refused("empty", "choose the edges that it is sewn to", view="cloth", field="edges")
        values = {"name": name, "kind": cmd.kind, "edges": list(cmd.edges)}
        for key, value in values.items():
            self._read("trim", key, value, name)
        return Edit(f"{cmd.kind} {name} added", self.text.add("trim", values), {"index": self.text.count("trim")})

    def _trim_set(self, cmd: ask.TrimSet) -> Edit:
        one = self._block("trim", cmd.index)
        name = str(one.get("name"))
        table, dot, edge = cmd.key.partition(".")
        if not dot:
            return self._set("trim", cmd.index, cmd.key, cmd.value, name)
        given = None if cmd.value in (None, "") else self._read("trim", "ratio", cmd.value, name)
        return Edit(f"{edge} of {name}", self.text.set("trim", cmd.index, (table, edge), given))

    def _trim_remove(self, cmd: ask.TrimRemove) -> Edit:
        name = self._block("trim", cmd.index).get("name")
        return Edit(f"{name} taken out", self.text.remove("trim", cmd.index), lenient=True)


def _raws(text: OrderText, kind: str) -> list[dict[str, Any]]:
    import tomllib

    return [one for one in tomllib.loads(text.text).get(kind, []) if isinstance(one, dict)]


def _renamed(text: OrderText, piece: str, old: str, new: str) -> OrderText:
    """Seams, trims, finishes and alterations that called an edge by its old name."""

    def edge(value: Any) -> Any:
        if isinstance(value, list):
            return [edge(one) for one in value]
        return f"{piece}.{new}" if value == f"{piece}.{old}" else value

    for kind in ("seam", "trim", "opening"):
        for index, one in enumerate(_raws(text, kind)):
            if "edges" in one and edge(one["edges"]) != one["edges"]:
                text = text.set(kind, index, "edges", edge(one["edges"]))
    for index, one in enumerate(_raws(text, "piece")):
        finish = one.get("finish")
        if one.get("name") == piece and isinstance(finish, dict) and old in finish:
            text = text.set("piece", index, ("finish", new), finish[old]).set("piece", index, ("finish", old), None)
    for index, one in enumerate(_raws(text, "alter")):
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


def _comma(text: str) -> str:
    return text.strip()


def _plausible_width(value: Any, units: str, cloth: str) -> None:
    """A cloth of 150 mm was meant to be one of 150 cm."""
    mm = parse_length(value, units)
    if mm < 200.0:
        number = re.sub(r"\s*[a-zA-Z″\"]+\.?$", "", str(value)).strip()
        raise Refused(
            "too-narrow",
            f"{value} is only {mm / 10:g} cm wide, which no cloth is: was {number} cm meant?",
            [f"{number} cm"],
            view="cloth",
            cloth=cloth,
            field="width",
        )
    if mm > 5000.0:
        raise Refused(
            "too-wide",
            f"{value} is {mm / 1000:g} m wide, wider than cloth is woven: was {mm / 10000:g} m meant?",
            view="cloth",
            cloth=cloth,
            field="width",
        )
