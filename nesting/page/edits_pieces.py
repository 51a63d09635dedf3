"""What commands do to the order's text: what is cut: its files, pieces, finishes, allowance, proposals."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, ClassVar

from nesting.files.orders.order_finish import finish_from_phrase
from nesting.files.orders.order_values import length
from nesting.model.units import parse_length
from nesting.page import protocol as ask
from nesting.page.editing import Edit, Edits, Refused
from nesting.page.ordertext import OrderText
from nesting.page.pieces_doc import drawn_body, why_no_fold
from nesting.page.proposals import proposals
from nesting.page.renaming import UNNAMED, called_anew
from nesting.pieces.prepare import sound

__all__ = ["PieceEdits"]

#: mm: no elastic, lace or seam allowance is as wide, so that a number of centimetres is doubted
WIDE_MM = 60.0


class PieceEdits(Edits):
    """What is cut: its files, pieces, finishes, allowance, proposals."""

    def _file_remove(self, cmd: ask.FileRemove) -> Edit:
        one = self.block("pattern", cmd.index)
        return Edit(f"{one.get('file')} taken out", self.text.remove("pattern", cmd.index), lenient=True)

    def _file_set(self, cmd: ask.FileSet) -> Edit:
        if cmd.key == "file":
            raise Refused("not-here", "drop the new file, then take this one out", view="pieces")
        one = self.block("pattern", cmd.index)
        made = self.set("pattern", cmd.index, cmd.key, cmd.value, str(one.get("file")))
        return Edit(made.label, made.text, lenient=True)

    def _file_choose(self, cmd: ask.FileChoose) -> Edit:
        name = str(self.block("pattern", cmd.index).get("file"))
        if cmd.pages == [] or cmd.layers == []:
            what = "page" if cmd.pages == [] else "layer"
            raise Refused("empty", f"leave at least one {what} of '{name}' to be read", view="pieces", file=name)
        pages = self.read("pattern", "pages", cmd.pages, name)
        layers = self.read("pattern", "layer", cmd.layers, name)
        text = self.text.set("pattern", cmd.index, "pages", pages).set("pattern", cmd.index, "layer", layers)
        return Edit(f"what is read of {name}", text, lenient=True, readable=True)

    def _piece_rename(self, cmd: ask.PieceRename) -> Edit:
        key = self.piece_key(cmd.piece, cmd.size)
        drawn = self.survey.drawn[key].piece
        name = cmd.name.strip()
        # by the files that have it: its name there
        called = {str(one.get("file")): {new: old for old, new in dict(one.get("names") or {}).items()}
                  for one in self.raw("pattern")}  # fmt: skip
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
        self.piece_key(cmd.piece, cmd.size)
        table, dot, edge = cmd.key.partition(".")
        if dot and table in ("allowance", "trim_short"):
            return self._piece_edge(cmd, table, edge)
        if cmd.key in ("name", "size", "finish", "fold"):
            raise Refused("not-here", f"'{cmd.key}' is set in its own way on this view", view="pieces", piece=cmd.piece)
        value = self.read("piece", cmd.key, cmd.value, cmd.piece)
        if cmd.key == "grain" and value is not None:
            value = int(value) if float(value).is_integer() else round(float(value), 2)
        text = self.set_piece(cmd.piece, cmd.size, cmd.key, value)
        if cmd.key == "mirrored" and value is True:
            ready = self.survey.ready.get(self.piece_key(cmd.piece, cmd.size))
            if (ready.cut if ready is not None else 1) % 2:
                # left and right come in pairs
                cut = (ready.cut if ready is not None else 1) + 1
                text = Edits(text, self.survey).set_piece(cmd.piece, cmd.size, "cut", cut)
        if cmd.key == "grain":
            drawn = self.survey.drawn[self.piece_key(cmd.piece, cmd.size)].piece
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
        text = self.set_piece(cmd.piece, cmd.size, (table, edge), value or None)
        return Edit(f"{table.replace('_', ' ')} of {cmd.piece}.{edge}", text)

    def _piece_fold(self, cmd: ask.PieceFold) -> Edit:
        key = self.piece_key(cmd.piece, cmd.size)
        if cmd.side is None:
            return Edit(f"no fold on {cmd.piece}", self.set_piece(cmd.piece, cmd.size, "fold", None))
        self.read("piece", "fold", cmd.side, cmd.piece)
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
        text = self.set_piece(cmd.piece, cmd.size, "fold", cmd.side)
        return Edit(f"fold of {cmd.piece}", text, holds=(cmd.piece, cmd.size, "fold", cmd.side))

    def _piece_finish(self, cmd: ask.PieceFinish) -> Edit:
        self.piece_key(cmd.piece, cmd.size)
        value = cmd.finish.strip() if cmd.finish else None
        if value:
            place = self.root.at(f"piece[{cmd.piece}]").at("finish").at(cmd.edge)
            finish_from_phrase(value, place, self.survey.finishes)
            value = self._with_unit(value, cmd)
        text = self.set_piece(cmd.piece, cmd.size, ("finish", cmd.edge), value)
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
            self.piece_key(name, None)
            lies_in_it = width if cmd.includes else "0 cm"
            text = Edits(text, self.survey).set_piece(name, None, ("allowance", "*"), lies_in_it)
            if not cmd.includes:
                text = Edits(text, self.survey).set_piece(name, None, ("finish", "*"), f"seam {width}")
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
                text, index = self.piece_block(text, piece, None)
                written = int(value) if kind == "grain" and float(value).is_integer() else value
                text = text.set("piece", index, kind, written)
        return text

    does: ClassVar[Mapping[type[ask.Command], Callable[..., Edit]]] = {
        ask.FileRemove: _file_remove,
        ask.FileSet: _file_set,
        ask.FileChoose: _file_choose,
        ask.PieceRename: _piece_rename,
        ask.PieceSet: _piece_set,
        ask.PieceFold: _piece_fold,
        ask.PieceFinish: _piece_finish,
        ask.PiecesAllowance: _pieces_allowance,
        ask.ProposalsAccept: _proposals_accept,
    }
