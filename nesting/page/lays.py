"""The lays of an order on the page: those found, the one that is shown, and what was moved on it by hand.

A lay that was found is a lay file in the private folder and never changes. What people do to it is a small value of
the history, ``lay:CLOTH``: which lay, where pieces were moved to, which are held. The table of spreads,
``spreads:CLOTH``, names the stored lay of each spread.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from nesting.cloth.orientation import orientation
from nesting.files.lays.layfile import lay_as_bytes, read_lay
from nesting.model.errors import NestingError
from nesting.model.identity import with_ids
from nesting.model.lay import Lay, Placement, mirrored_over_fold
from nesting.model.order import CutPiece, Order
from nesting.model.piece import Piece
from nesting.model.units import to_cents
from nesting.page.documents import JudgedDoc, LaidPiece, LayDoc, LaySection, Shape, SpreadRow
from nesting.page.editing import Refused
from nesting.page.pieces_doc import notch_doc
from nesting.page.plain import plain
from nesting.page.words import line, point
from nesting.page.workspace import Workspace
from nesting.proof.edited import redrawn
from nesting.proof.proving import prove
from nesting.report.drawing.view import laid_sections, picture
from nesting.report.sheet.sheet import rows
from nesting.report.words import reason_words

__all__ = ["Lays", "as_file", "laid_ids"]

#: mm. Within this a piece that lies on a fold, or whose motif meets a repeat, is put exactly there.
SNAP_MM = 0.5


def laid_ids(lay: Lay) -> list[str]:
    """A name for every placement, in their order, that survives moving and saving."""
    seen: dict[str, int] = {}
    found = []
    for p in lay.placements:
        own = getattr(p, "ids", ())
        base = own[0] if own else "/".join((p.garment, p.size or "", str(p.copy), p.piece))
        seen[base] = seen.get(base, 0) + 1
        found.append(base if own and seen[base] == 1 else f"{base}/{seen[base]}")
    return found


class Lays:
    """Reads and changes the lays of a workspace."""

    def __init__(self, work: Workspace) -> None:
        self.work = work
        self._read: dict[str, Lay] = {}
        self._judged: dict[tuple[Any, ...], JudgedDoc] = {}
        #: the lay as it lies now, which drawing and proof both ask for
        self._now: dict[str, tuple[tuple[Any, ...], Lay]] = {}

    # --- what is there

    def cloths(self) -> list[str]:
        """The cloths that the order has, laid or not."""
        named = [str(one.get("name")) for one in self.work.survey.document.get("cloth", []) if isinstance(one, dict)]
        return named

    def value(self, cloth: str) -> dict[str, Any]:
        """Which lay is shown and what was done to it."""
        return dict(self.work.history.state.get(f"lay:{cloth}") or {})

    def stored(self, lay_id: str) -> Lay | None:
        """A lay that was found, as it was found."""
        if lay_id not in self._read:
            path = self.work.private / "lays" / f"{lay_id}.json"
            if not lay_id.isalnum() or not path.is_file():
                return None
            try:
                self._read[lay_id] = read_lay(path)
            except NestingError:
                return None
        return self._read[lay_id]

    def now(self, cloth: str) -> Lay | None:
        """The lay as it lies now, moved pieces drawn anew."""
        value = self.value(cloth)
        lay = self.stored(str(value.get("lay", "")))
        moves = value.get("moves") or {}
        if lay is None or not moves:
            return lay
        key = (value.get("lay"), repr(sorted(moves.items())), self.work.sha256)
        held = self._now.get(cloth)
        if held is None or held[0] != key:
            order = self.work.survey.order
            moved, numbers = _moved(lay, moves)
            # drawn by this very order it need not be drawn anew where nothing was moved; the proof looks at all of it
            only = numbers if order is not None and lay.order_sha256 == order.sha256 else None
            held = self._now[cloth] = (key, redrawn(moved, order, only=only) if order is not None else moved)
        return held[1]

    def keep(self, lay: Lay) -> str:
        """Store a lay as a lay file; its id."""
        content = lay_as_bytes(lay)
        lay_id = hashlib.sha256(content).hexdigest()[:16]
        if not (self.work.private / "lays" / f"{lay_id}.json").is_file():
            self.work.store(f"lays/{lay_id}.json", content)
        return lay_id

    # --- changes: each gives values of the history

    def taken(self, cloth: str, lay_id: str) -> dict[str, Any]:
        """Another stored lay is shown."""
        lay = self.stored(lay_id)
        if lay is None or lay.cloth != cloth:
            raise Refused("gone", "that lay is not kept any more: search it again", view="lay", cloth=cloth)
        table = (self.work.history.state.get(f"spreads:{cloth}") or {}).get("rows", {})
        command = next((row.get("command") for row in table.values() if row.get("lay") == lay_id), None) or ""
        move = self._count(cloth)
        return {f"lay:{cloth}": {"lay": lay_id, "moves": {}, "kept": [], "move": move, "command": command}}

    def found(
        self, cloth: str, lay_id: str, spreads: Mapping[str, str], *, kept: list[str], command: str = ""
    ) -> dict[str, Any]:
        """The end of a run: its lay is shown, and the table of spreads knows it and the stored lays of ``spreads``.
        ``command``: gives the same lay on the command line."""
        lay = self.stored(lay_id)
        if lay is None:
            return {}
        table = dict(self.work.history.state.get(f"spreads:{cloth}") or {})
        if table.get("sha") != self.work.sha256:
            table = {"sha": self.work.sha256, "rows": {}}
        held = dict(table["rows"])
        for row in lay.tried:
            old = held.get(row.kind, {})
            better = row.lay_length is not None and (old.get("lay_length") or 1e9) > row.lay_length + 1e-6
            if row.kind not in held or better or row.chosen or (row.kind in spreads and not old.get("lay")):
                held[row.kind] = {
                    "lay": spreads.get(row.kind) or (None if better else old.get("lay")),
                    "lay_length": row.lay_length,
                    "buy_length": row.buy_length,
                    "utilisation": row.utilisation,
                    "handling": list(row.handling) if row.handling else None,
                    "refused": row.refused and row.refused.message,
                }
        kind = _kind(lay)
        old = held.get(kind, {})
        handling = old.get("handling")
        held[kind] = {"lay": lay_id, "lay_length": lay.lay_length, "buy_length": lay.buy_length, "refused": None,
                      "utilisation": lay.utilisation, "handling": handling, "command": command}  # fmt: skip
        ids = set(laid_ids(lay))
        shown = {"lay": lay_id, "moves": {}, "kept": [k for k in kept if k in ids], "move": self._count(cloth),
                 "command": command}  # fmt: skip
        return {f"lay:{cloth}": shown, f"spreads:{cloth}": {**table, "rows": held}}

    def _count(self, cloth: str) -> int:
        return int(self.value(cloth).get("move", 0)) + 1

    def moved(self, cloth: str, base: int, laid: str, x: float, y: float, turn: float, flipped: bool) -> dict[str, Any]:
        """A piece lies elsewhere, snapped, turned and flipped only as the cloth allows."""
        value = self.value(cloth)
        lay = self.now(cloth)
        if lay is None:
            raise Refused("gone", "there is no lay of this cloth yet", view="lay", cloth=cloth)
        if base != value.get("move", 0):
            raise Refused("out-of-date", "the lay has changed meanwhile; it is shown anew", view="lay", cloth=cloth)
        ids = laid_ids(lay)
        if laid not in ids:
            raise Refused("gone", "this piece is not in the lay any more", view="lay", cloth=cloth)
        p = lay.placements[ids.index(laid)]
        if not all(abs(v) < 1e6 for v in (x, y, turn)):
            raise Refused("not-a-place", "that is no place on the cloth", view="lay", laid=laid)
        x, y, turn = self._allowed(lay, p, laid, x, y, turn, flipped)
        moves = dict(value.get("moves") or {})
        moves[laid] = [round(x, 6), round(y, 6), round(turn % 360.0, 6), flipped]
        return {f"lay:{cloth}": {**value, "moves": moves, "move": self._count(cloth)}}

    def _allowed(
        self, lay: Lay, p: Placement, laid: str, x: float, y: float, turn: float, flipped: bool
    ) -> tuple[float, float, float]:
        order = self.work.survey.order
        if order is None:
            return x, y, turn
        cut, may = self._ways(lay, p, order)
        if cut is None:
            return x, y, turn
        turns, refused, flips, why = may
        near = min(turns or [p.turn], key=lambda t: abs((t - turn + 180.0) % 360.0 - 180.0))
        off = abs((near - turn + 180.0) % 360.0 - 180.0)
        if off > cut.tilt + 1e-6:
            reason = next((w for t, w in refused if abs((t - turn + 180.0) % 360.0 - 180.0) < 1.0), None)
            allowed = " or ".join(f"{t:g}°" for t in sorted(set(turns)))
            words = reason or f"its grain allows {allowed}" + (f", ± {cut.tilt:g}°" if cut.tilt else "")
            raise Refused("turn-refused", f"{p.piece} cannot lie at {turn % 360.0:g}°: {words}.", view="lay", laid=laid)
        if off < 1e-3:
            turn = near
        if flipped != p.flipped and not flips:
            raise Refused("flip-refused", f"{p.piece} cannot be flipped here: {why}.", view="lay", laid=laid)
        if p.on_fold and p.fold is not None:
            section = next(s for s in lay.sections if p in s.placements)
            for fold in section.spread.folds:
                axis = 1 if fold.along == "x" else 0
                if all(abs(end[axis] - fold.at) < 1.0 for end in p.fold):
                    if axis == 1:
                        y = p.y
                    else:
                        x = p.x
        return x, y, turn

    def _ways(
        self, lay: Lay, p: Placement, order: Order
    ) -> tuple[CutPiece | None, tuple[list[float], list[list[Any]], bool, str | None]]:
        """Turns allowed, turns refused with the reason, whether it may be flipped and why not."""
        try:
            cut = order.cut_piece(p.piece, p.size)
            cloth = order.cloth_named(lay.cloth)
        except KeyError:
            return None, ([p.turn], [], False, "the order does not have it any more")
        way = orientation(cut, cloth)
        turns, refused = list(way.turns), [[t, why] for t, why in way.refused]
        flips, why = True, None
        pair_through = len(p.plies) > 1
        if not (p.on_fold or p.opened or cut.alike_ok or not cloth.right_side or pair_through):
            flips = False
            why = (
                "it is the left or the right one of a pair, and flipped it would be the other"
                if cut.mirrored
                else "its printed side and the cloth's right side face the same way, and flipped they would not"
            )
        return cut, (turns, refused, flips, why)

    def kept(self, cloth: str, ids: list[str], keep: bool) -> dict[str, Any]:
        """Pieces are held where they are, or let go."""
        lay = self.now(cloth)
        if lay is None:
            raise Refused("gone", "there is no lay of this cloth yet", view="lay", cloth=cloth)
        known, value = set(laid_ids(lay)), self.value(cloth)
        held = [k for k in value.get("kept") or [] if k in known and (keep or k not in ids)]
        held += [k for k in ids if keep and k in known and k not in held]
        return {f"lay:{cloth}": {**value, "kept": held}}

    def kept_ids(self, cloth: str) -> list[str]:
        """The held placements by an id of each, as the command line takes them."""
        lay, order = self.now(cloth), self.work.survey.order
        if lay is None or order is None:
            return []
        held = set(self.value(cloth).get("kept") or [])
        named = with_ids(lay, order)
        return [p.ids[0] for p, i in zip(named.placements, laid_ids(lay), strict=True) if i in held and p.ids]

    # --- the proof

    def judge(self, cloth: str) -> JudgedDoc | None:
        """The independent proof's verdict on the lay as it lies now; slow, so for a thread of its own."""
        order, lay = self.work.survey.order, self.now(cloth)
        value = self.value(cloth)
        if lay is None:
            return None
        key = (cloth, value.get("lay"), repr(sorted((value.get("moves") or {}).items())), self.work.sha256)
        if key not in self._judged:
            if len(self._judged) > 50:
                self._judged.clear()
            self._judged[key] = self._verdict(lay, order, int(value.get("move", 0)))
        return {**self._judged[key], "of": int(value.get("move", 0))}

    def known_verdict(self, cloth: str) -> JudgedDoc | None:
        """The verdict, if it is known already."""
        value = self.value(cloth)
        key = (cloth, value.get("lay"), repr(sorted((value.get("moves") or {}).items())), self.work.sha256)
        known = self._judged.get(key)
        return {**known, "of": int(value.get("move", 0))} if known is not None else None

    def _verdict(self, lay: Lay, order: Order | None, number: int) -> JudgedDoc:
        if order is None:
            message = "the order cannot be read, so there is nothing to judge the lay by"
            failures: list[dict[str, Any]] = [{"code": "order", "message": message, "laid": [], "at": None}]
            return {"of": number, "ok": False, "failures": failures, "lay_length": lay.lay_length,
                    "buy_length": lay.buy_length}  # fmt: skip
        first = self.now(lay.over) if lay.over else None
        verdict = prove(lay, order, first=first)
        ids = laid_ids(lay)
        failures = []
        for failure in verdict.failures[:30]:
            near = [
                i
                for i, p in zip(ids, lay.placements, strict=True)
                if failure.piece in (p.label, p.piece) and (failure.place is None or _box_near(p, failure.place))
            ]
            failures.append(
                {
                    "code": failure.kind,
                    "message": str(failure),
                    "laid": near,
                    "at": point(failure.place) if failure.place is not None else None,
                    "section": failure.section,
                }
            )
        return {"of": number, "ok": verdict.ok, "failures": failures, "lay_length": round(verdict.lay_length, 3),
                "buy_length": round(verdict.buy_length, 3)}  # fmt: skip

    # --- the document

    def doc(self, cloth: str | None, rev: int) -> LayDoc:
        """The view of the lay. No command gives a lay of which pieces were moved by hand, that was taken from the table
        of spreads or is of an older order."""
        cloths = self.cloths()
        cloth = cloth if cloth in cloths else (cloths[0] if cloths else "")
        value = self.value(cloth)
        lay = self.now(cloth) if value else None
        doc = self.doc_of(lay, cloth, rev, str(value.get("command", "")))
        if doc["stale"] or value.get("moves"):
            doc["command"] = ""
        doc["cloths"] = cloths
        doc["lay"] = str(value["lay"]) if lay is not None else None
        doc["move"] = int(value.get("move", 0))
        doc["edited"] = bool(value.get("moves"))
        held = set(value.get("kept") or [])
        for section in doc["sections"]:
            for piece in section["pieces"]:
                piece["kept"] = piece["id"] in held
        doc["spreads"] = self._spreads(cloth, str(value.get("lay")), lay)
        doc["judged"] = self.known_verdict(cloth) if lay is not None else None
        return doc

    def _spreads(self, cloth: str, shown: str, lay: Lay | None) -> list[SpreadRow]:
        table = self.work.history.state.get(f"spreads:{cloth}") or {}
        return self._rows(cloth, table.get("rows") or {}, shown, lay)

    def _rows(self, cloth: str, table: Mapping[str, Any], shown: str, lay: Lay | None) -> list[SpreadRow]:
        order = self.work.survey.order
        price = None
        if order is not None and any(c.name == cloth for c in order.cloths):
            base = order.cloth_named(cloth)
            price = None if base.price is None else base.price / base.price_unit
        rows_: list[SpreadRow] = []
        for kind, row in table.items():
            buy = row.get("buy_length")
            rows_.append(
                {
                    "spread": kind,
                    "lay": row.get("lay"),
                    "lay_length": row.get("lay_length"),
                    "buy_length": buy,
                    "utilisation": row.get("utilisation"),
                    "handling": row.get("handling"),
                    "cost": to_cents(price * buy) if price is not None and buy is not None else None,
                    "refused": row.get("refused"),
                    "chosen": lay is not None and _kind(lay) == kind,
                    "shown": row.get("lay") == shown,
                }
            )
        return sorted(rows_, key=lambda r: (r["buy_length"] is None, r["buy_length"] or 0.0))

    def so_far(self, lay: Lay, rev: int, command: str) -> LayDoc:
        """The best lay so far of a search that is at work, with the spreads that it has tried."""
        doc = self.doc_of(lay, lay.cloth, rev, command)
        doc["lay"] = "so-far"
        table: dict[str, Any] = {
            row.kind: {
                "lay_length": row.lay_length,
                "buy_length": row.buy_length,
                "refused": row.refused and row.refused.message,
                "utilisation": row.utilisation,
            }
            for row in lay.tried
        }
        doc["spreads"] = self._rows(lay.cloth, table, "", lay)
        return doc

    def doc_of(self, lay: Lay | None, cloth: str, rev: int, command: str) -> LayDoc:
        """A lay as the page draws it, whichever it is."""
        order = self.work.survey.order
        shapes: dict[str, Shape] = {}
        sections = self._sections(lay, order, shapes) if lay is not None else []
        names = list(dict.fromkeys(p.garment + (f" {p.size}" if p.size else "") for p in lay.placements)) if lay else []
        return {
            "rev": rev,
            "cloths": self.cloths(),
            "cloth": cloth,
            "lay": None,
            "move": 0,
            "spread": _kind(lay) if lay is not None else None,
            "sections": sections,
            "shapes": shapes,
            "lay_length": round(lay.lay_length, 3) if lay else 0.0,
            "buy_length": round(lay.buy_length, 3) if lay else 0.0,
            "lower_bound": round(lay.lower_bound, 3) if lay else 0.0,
            "bound_reason": reason_words(lay) if lay else "",
            "utilisation": round(lay.utilisation, 5) if lay else 0.0,
            "gap": lay.gap if lay else 0.0,
            "width": lay.usable_width if lay else 0.0,
            "spreads": [],
            "judged": None,
            "stale": lay is not None and bool(lay.order_sha256) and lay.order_sha256 != self.work.sha256,
            "edited": False,
            "over": lay.over if lay else None,
            "remnant": lay.remnant if lay else None,
            "notes": [plain(note) for note in lay.notes] if lay else [],
            "garments": [
                {"name": g.name, "size": g.size, "count": g.count, "length_each": round(g.length_each, 2)}
                for g in (lay.garments if lay else ())
            ],
            "command": command,
            "colours": {name: k for k, name in enumerate(names)},
        }

    def _sections(self, lay: Lay, order: Order | None, shapes: dict[str, Shape]) -> list[LaySection]:
        ids = laid_ids(lay)
        numbers = {row.index: row.number for row in rows(lay)}
        found: list[LaySection] = []
        k = 0
        for laid in laid_sections(lay, picture(lay)):
            section = laid.section
            pieces: list[LaidPiece] = []
            for p in section.placements:
                pieces.append(self._laid(lay, section, p, ids[k], numbers.get(k, k + 1), order, shapes))
                k += 1
            spread = section.spread
            found.append(
                {
                    "start": round(section.start, 3),
                    "length": round(section.lay_length, 3),
                    "before": round(laid.from_end, 3),
                    "after": round(laid.after, 3),
                    "spread": spread.kind,
                    "table_width": round(spread.table_width, 3),
                    "plies": [
                        {"ply": r.ply, "face": r.face, "region": line(r.region), "flaws": [line(f) for f in r.flaws]}
                        for r in spread.plies
                    ],
                    "folds": [{"along": f.along, "at": round(f.at, 3), "plies": list(f.plies)} for f in spread.folds],
                    "pieces": pieces,
                }
            )
        return found

    def _laid(
        self,
        lay: Lay,
        section: Any,
        p: Placement,
        laid: str,
        number: int,
        order: Order | None,
        shapes: dict[str, Shape],
    ) -> LaidPiece:
        key = f"{p.piece}|{p.size or ''}|{'opened' if p.opened else 'half' if p.on_fold else ''}"
        way: tuple[list[float], list[list[Any]], bool, str | None] = ([p.turn], [], False, None)
        cut: CutPiece | None = None
        if order is not None:
            cut, way = self._ways(lay, p, order)
        if key not in shapes:
            shapes[key] = _shape(_own_frame(p, cut), p.label.rsplit(" ", 1)[0])
        fixed: dict[str, float | None] = {"x": None, "y": None}
        if p.on_fold and p.fold is not None:
            for fold in section.spread.folds:
                axis = 1 if fold.along == "x" else 0
                if all(abs(end[axis] - fold.at) < 0.5 for end in p.fold):
                    fixed["y" if axis == 1 else "x"] = p.y if axis == 1 else p.x
        snaps = _snaps(lay, cut, p)
        return {
            "id": laid,
            "number": number,
            "piece": p.piece,
            "size": p.size,
            "garment": p.garment,
            "copy": p.copy,
            "label": p.label,
            "tag": f"{p.piece}:{p.copy}",
            "shape": key,
            "x": round(p.x, 4),
            "y": round(p.y, 4),
            "turn": p.turn,
            "flipped": p.flipped,
            "plies": list(p.plies),
            "on_fold": p.on_fold,
            "opened": p.opened,
            "gives": p.gives,
            "follows": p.follows,
            "kept": False,
            "turns": sorted(set(way[0])),
            "refused": way[1],
            "flips": way[2],
            "why_no_flip": way[3],
            "fixed_x": fixed["x"],
            "fixed_y": fixed["y"],
            "snap_x": snaps[0],
            "snap_y": snaps[1],
            "tilt": cut.tilt if cut is not None else 0.0,
        }


def _kind(lay: Lay) -> str:
    return "sections" if len(lay.sections) > 1 else lay.sections[0].spread.kind


def _moved(lay: Lay, moves: Mapping[str, Any]) -> tuple[Lay, set[int]]:
    """The lay with the moved pieces where they were put, and the numbers of these."""
    ids = laid_ids(lay)
    k = 0
    sections = []
    numbers = set()
    for section in lay.sections:
        placements = []
        for p in section.placements:
            to = moves.get(ids[k])
            if to is not None:
                p = replace(p, x=float(to[0]), y=float(to[1]), turn=float(to[2]), flipped=bool(to[3]))
                numbers.add(k)
            placements.append(p)
            k += 1
        sections.append(replace(section, placements=tuple(placements)))
    return replace(lay, sections=tuple(sections)), numbers


def _box_near(p: Placement, at: tuple[float, float]) -> bool:
    xs, ys = [q[0] for q in p.outline], [q[1] for q in p.outline]
    return min(xs) - 2 <= at[0] <= max(xs) + 2 and min(ys) - 2 <= at[1] <= max(ys) + 2


def _own_frame(p: Placement, cut: CutPiece | None) -> Piece:
    """The piece in its grain frame, as it was laid: turned back from where it lies, whatever the order says by now."""
    import math

    from nesting.model.piece import mapped

    a = math.radians(-p.turn)
    c, s = math.cos(a), math.sin(a)
    f = -1.0 if p.flipped else 1.0

    def back(q: tuple[float, float]) -> tuple[float, float]:
        dx, dy = q[0] - p.x, q[1] - p.y
        return (c * dx - s * dy, f * (s * dx + c * dy))

    lies = Piece(p.piece, p.outline, p.size, p.seam, p.inside, p.cutouts, p.notches, p.drills, p.grainline, p.fold)
    piece = mapped(lies, back)
    # directions of notches: turned back, then mirrored
    notches = tuple(
        replace(n, direction=(f * (was.direction - p.turn)) % 360.0)
        for n, was in zip(piece.notches, p.notches, strict=True)
    )
    piece = replace(piece, notches=notches)
    if p.flipped:
        piece = replace(piece, outline=piece.outline[::-1])
    if cut is not None:
        whole = mirrored_over_fold(cut.piece) if p.opened else cut.piece
        if len(whole.outline) == len(piece.outline):
            return replace(whole, size=p.size)
    return piece


def _shape(piece: Piece, label: str) -> Shape:
    return {
        "outline": line(piece.outline),
        "seam": line(piece.seam) if piece.seam is not None else None,
        "inside": [line(one) for one in piece.inside],
        "cutouts": [line(one) for one in piece.cutouts],
        "notches": [notch_doc(n) for n in piece.notches],
        "drills": [{"at": point(d.at), "diameter": d.diameter, "name": d.name} for d in piece.drills],
        "grain": line(piece.grainline) if piece.grainline is not None else [],
        "fold": line(piece.fold) if piece.fold is not None else None,
        "label": label,
    }


def _snaps(lay: Lay, cut: CutPiece | None, p: Placement) -> tuple[dict[str, float] | None, dict[str, float] | None]:
    """Where a print's repeat wants the piece's motif: places every so many mm."""
    if cut is None or cut.motif is None:
        return None, None
    import math

    a = math.radians(p.turn)
    mx, my = cut.motif.point[0], cut.motif.point[1] * (-1.0 if p.flipped else 1.0)
    x, y = math.cos(a) * mx - math.sin(a) * my, math.sin(a) * mx + math.cos(a) * my
    found: list[dict[str, float] | None] = [None, None]
    for axis, (repeat, here) in enumerate(((lay.repeat_along, x), (lay.repeat_across, y))):
        if repeat:
            found[axis] = {"every": repeat, "offset": round((cut.motif.offset[axis] - here) % repeat, 4)}
    return found[0], found[1]


def as_file(lay: Lay, order_file: str) -> bytes:
    """The lay as a file that stands in the order's results folder."""
    return lay_as_bytes(replace(lay, order_file=order_file))
