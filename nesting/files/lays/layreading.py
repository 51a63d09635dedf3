"""A lay from the JSON document of a lay file, every key read with its type; see ``layfile``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, get_args

from nesting.files.lays.layvalues import Reader
from nesting.model.errors import OrderError
from nesting.model.findings import Reason
from nesting.model.lay import (
    FoldLine,
    GarmentShare,
    Lay,
    LayPart,
    Patch,
    PatchPlace,
    PieceHeld,
    Placement,
    PlyRegion,
    Section,
    Spread,
    SpreadTried,
)
from nesting.model.order import Remnant, SpreadName
from nesting.model.piece import Drill, Notch, Piece

__all__ = ["SCHEMA", "lay_from_dict"]

SCHEMA = "lay/1"

_HANDS: tuple[Literal["right", "left"], ...] = ("right", "left")
_TOP_KEYS = {
    "schema",
    "units",
    "order",
    "title",
    "seed",
    "do_not_cut",
    "seconds",
    "cloth",
    "remnant",
    "over",
    "over_at",
    "spread",
    "sections",
    "lay_length",
    "buy_length",
    "lower_bound",
    "bound_reason",
    "utilisation",
    "placements",
    "garments",
    "tried",
    "notes",
    "imperial",
    "holds",
    "leftover",
    "apart",
    "apart_reason",
    "patches",
    "patch_places",
    "part",
}


def lay_from_dict(document: Mapping[str, Any]) -> Lay:
    """The lay of a JSON document. OrderError names the key that is missing or wrong.

    Left out may be: ``order``, ``title``, ``seed``, ``seconds``, ``garments``, what a placement need not have (marks,
    seam, fold), and the keys that were added to the schema later.
    """
    top = Reader(document, "")
    schema = top.text("schema")
    if schema != SCHEMA:
        raise OrderError(f'the schema is "{schema}", this program reads "{SCHEMA}"', key="schema", code="lay.schema")
    units = top.text("units", "mm")
    if units != "mm":
        raise OrderError(f'lay files are in "mm", found "{units}"', key="units", code="lay.units")
    order = top.part("order", {})
    cloth = top.part("cloth")
    sections = _sections(top)
    width_washed = cloth.number("width_washed", least=0.0)
    return Lay(
        title=top.text("title", ""),
        cloth=cloth.text("name"),
        width=cloth.number("width", least=0.0),
        width_washed=width_washed,
        usable_width=cloth.number("usable_width", least=0.0),
        sections=sections,
        lay_length=top.number("lay_length", least=0.0),
        buy_length=top.number("buy_length", least=0.0),
        lower_bound=top.number("lower_bound", least=0.0),
        bound_reason=top.text("bound_reason", ""),
        utilisation=top.number("utilisation", least=0.0),
        garments=tuple(
            GarmentShare(g.text("name"), g.maybe_text("size"), g.whole("count", least=0), g.number("length_each"))
            for g in top.parts("garments")
        ),
        order_file=order.maybe_text("file"),
        order_sha256=order.text("sha256", ""),
        seed=top.whole("seed", 0),
        seconds=top.number("seconds", 0.0),
        gap=cloth.number("gap", 0.0, least=0.0),
        end_allowance=cloth.number("end_allowance", 0.0, least=0.0),
        selvage=cloth.number("selvage", 0.0, least=0.0),
        repeat_along=cloth.number("repeat_along", 0.0, least=0.0),
        repeat_across=cloth.number("repeat_across", 0.0, least=0.0),
        remnant=top.maybe_text("remnant"),
        over=top.maybe_text("over"),
        over_at=top.numbers("over_at"),
        shrink_along=cloth.number("shrink_along", least=0.0) if cloth.has("shrink_along") else None,
        knit=cloth.flag("knit") if cloth.has("knit") else None,
        imperial=top.flag("imperial", False),
        tried=tuple(_tried(row) for row in top.parts("tried")),
        notes=top.texts("notes"),
        do_not_cut=top.texts("do_not_cut"),
        holds=tuple(map(_held, top.parts("holds"))) if top.has("holds") else None,
        patches=tuple(map(_patch, top.parts("patches"))),
        patch_places=tuple(
            (p.whole("number", least=1), p.text("of"), _patch_place(p.part("on"))) for p in top.parts("patch_places")
        ),
        apart=_reason(top, "apart"),
        part=_part(top.part("part")) if top.has("part") else None,
        leftover=_leftover(top, cloth) if top.has("leftover") else None,
        extra={key: value for key, value in document.items() if key not in _TOP_KEYS},
    )


def _reason(place: Reader, key: str) -> Reason | None:
    """The reason under ``key``; the files of before give its message alone."""
    message = place.maybe_text(key)
    if message is None:
        return None
    told = place.part(f"{key}_reason", {})
    figures = {name: value for name, value in told.given("figures").items() if isinstance(value, str | int | float)}
    code = told.text("code", "reason.not-told")
    return Reason(message, code=code, figures=figures)


def _part(part: Reader) -> LayPart:
    number, of = part.whole("number", least=1), part.whole("of", least=1)
    if number > of:
        raise OrderError(
            f"part {number} of {of} cannot be: give a number up to {of}", key="part.number", code="lay.part"
        )
    return LayPart(number, of)


def _patch(part: Reader) -> Patch:
    return Patch(
        number=part.whole("number", least=1),
        length=part.number("length", least=0.0),
        width=part.number("width", least=0.0),
        margin=part.number("margin", least=0.0),
        x=part.number("x"),
        y=part.number("y"),
        turn=part.number("turn"),
        placements=part.wholes("placements"),
        on=_patch_place(part.part("on")),
    )


def _patch_place(on: Reader) -> PatchPlace:
    return PatchPlace(
        cloth=on.text("cloth"),
        section=on.whole("section", least=0),
        plies=on.wholes("plies"),
        x=on.number("x"),
        y=on.number("y"),
        length=on.number("length", least=0.0),
        width=on.number("width", least=0.0),
        grain=on.number("grain"),
        face=on.choice("face", ("up", "down")),
    )


def _held(part: Reader) -> PieceHeld:
    return PieceHeld(
        garment=part.text("garment"),
        size=part.maybe_text("size"),
        copy=part.whole("copy", least=1),
        piece=part.text("piece"),
        hand=part.choice("hand", _HANDS) if part.has("hand") else None,
        count=part.whole("count", least=1),
    )


def _leftover(top: Reader, cloth: Reader) -> Remnant:
    part = top.part("leftover")
    return Remnant(
        top.text("remnant"), cloth.text("name"), part.points("outline", least=3), part.lines("flaws", least=3)
    )


def _sections(top: Reader) -> tuple[Section, ...]:
    if top.part("spread").text("kind") == "sections":
        if top.has("placements"):
            raise OrderError(
                "a lay in sections has its placements in the sections", key="placements", code="lay.sections"
            )
        return tuple(_section(part) for part in top.parts("sections", needed=True))
    if top.has("sections"):
        raise OrderError(
            'sections are given, but the kind of the spread is not "sections"', key="sections", code="lay.sections"
        )
    return (_section(top),)


def _section(part: Reader) -> Section:
    return Section(
        spread=_spread(part.part("spread")),
        lay_length=part.number("lay_length", least=0.0),
        placements=tuple(_placement(p) for p in part.parts("placements", needed=True)),
        start=part.number("start", 0.0, least=0.0),
    )


def _spread(part: Reader) -> Spread:
    folds = []
    for fold in part.parts("folds"):
        plies = fold.wholes("plies")
        if len(plies) != 2:
            raise fold.wrong("plies", "the two plies that the fold joins", list(plies))
        folds.append(FoldLine(fold.choice("along", ("x", "y")), fold.number("at"), (plies[0], plies[1])))
    return Spread(
        kind=part.choice("kind", tuple(name for name in get_args(SpreadName) if name != "sections")),
        table_width=part.number("table_width", least=0.0),
        length=part.number("length", least=0.0),
        plies=tuple(
            PlyRegion(
                ply.whole("ply", least=0),
                ply.choice("face", ("up", "down")),
                ply.points("region", least=3),
                ply.lines("flaws", least=3),
                ply.flag("reversed", False),
            )
            for ply in part.parts("plies", needed=True)
        ),
        folds=tuple(folds),
        depths=part.numbers("depths"),
        layers=part.whole("layers", 1, least=1),
    )


def _placement(p: Reader) -> Placement:
    name = p.text("piece")
    p.piece = name
    return Placement(
        piece=name,
        garment=p.text("garment"),
        size=p.maybe_text("size"),
        copy=p.whole("copy", least=1),
        x=p.number("x"),
        y=p.number("y"),
        turn=p.number("turn"),
        flipped=p.flag("flipped"),
        plies=p.wholes("plies"),
        on_fold=p.flag("on_fold", False),
        opened=p.flag("opened", False),
        gives=p.whole("gives", least=1),
        laid=_laid(name, p),
        follows=p.maybe_text("follows"),
        second_cloth=p.maybe_text("second_cloth"),
        copies=p.wholes("copies", ()),
        ids=p.texts("ids") if p.has("ids") else (),
        number=p.whole("number", least=1) if p.has("number") else None,
        hand=p.maybe_text("hand"),
    )


def _laid(name: str, p: Reader) -> Piece:
    return Piece(
        name,
        p.points("outline", least=3),
        seam=p.points("seam", least=3) if p.has("seam") else None,
        inside=p.lines("inside", least=1),
        cutouts=p.lines("cutouts", least=3),
        notches=tuple(
            Notch(
                n.point("at"),
                n.number("direction"),
                n.choice("kind", ("slit", "v", "t", "castle", "check", "u")),
                n.number("depth", 5.0, least=0.0),
                n.maybe_text("name"),
            )
            for n in p.parts("notches")
        ),
        drills=tuple(
            Drill(d.point("at"), d.number("diameter", 0.0, least=0.0), d.maybe_text("name")) for d in p.parts("drills")
        ),
        grainline=p.two_points("grainline"),
        fold=p.two_points("fold") if p.has("fold") else None,
    )


def _tried(row: Reader) -> SpreadTried:
    handling = row.wholes("handling") if row.has("handling") else None
    if handling is not None and len(handling) != 3:
        raise row.wrong("handling", "placements, folds and pieces to trace again", list(handling))
    return SpreadTried(
        kind=row.choice("kind", get_args(SpreadName)),
        lay_length=row.number("lay_length") if row.has("lay_length") else None,
        buy_length=row.number("buy_length") if row.has("buy_length") else None,
        utilisation=row.number("utilisation") if row.has("utilisation") else None,
        handling=(handling[0], handling[1], handling[2]) if handling is not None else None,
        refused=_reason(row, "refused"),
        chosen=row.flag("chosen", False),
        in_all=row.number("in_all") if row.has("in_all") else None,
    )
