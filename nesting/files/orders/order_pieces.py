"""The pieces of an order: what the pattern files say, what the order says instead, made ready to be laid."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from nesting.files.orders.order_finish import finish_from_phrase
from nesting.files.orders.order_schema import BLOCKS, Block
from nesting.files.orders.order_values import Place, length, listing, nearest, pair_of, text
from nesting.files.reading import Reading
from nesting.model.errors import OrderError, PatternError
from nesting.model.findings import Finding
from nesting.model.order import CutPiece, Motif
from nesting.model.piece import Edge, Piece, Ring
from nesting.model.tolerances import JOIN_GAP_MM
from nesting.pieces.prepare import prepare, prepared
from nesting.pieces.wishes import Alteration, EdgeSpec, Finish, Preparation

__all__ = [
    "Asked",
    "Drawn",
    "ReadFile",
    "as_drawn",
    "ask",
    "band_of",
    "drawn_pieces",
    "ready_piece",
    "refuse_unknown_piece",
]


class ReadFile(Protocol):
    """Reads a pattern file as ``read_pieces`` does."""

    def __call__(
        self,
        path: Path,
        *,
        units: str | None,
        join_gap: float,
        pages: Sequence[int] | None = None,
        layers: Sequence[str] | None = None,
    ) -> Reading:
        """The reading of the file."""


@dataclass(frozen=True)
class Drawn:
    """A piece as a file (or a band's measures) gives it, and where it came from."""

    piece: Piece
    band: bool = False


@dataclass(frozen=True)
class Asked:
    """All that an order asks of one piece in one size.

    ``blocks`` are its ``[[piece]]`` blocks: the one for every size, then the one for this size, whose keys count first.
    """

    root: Place
    blocks: tuple[Block, ...] = ()
    edges: tuple[EdgeSpec, ...] = ()
    alterations: tuple[Alteration, ...] = ()
    centre_notches: tuple[str, ...] = ()
    fold_notches: tuple[str, ...] = ()

    def __getitem__(self, key: str) -> Any:
        block = self._holder(key)
        return block[key] if block else _UNASKED[key]

    def at(self, key: str) -> Place:
        """The place of a key, in the block that gives it."""
        block = self._holder(key)
        return block.at(key) if block else self.root

    def _holder(self, key: str) -> Block | None:
        given = [block for block in self.blocks if key in block.given]
        return given[-1] if given else None


_UNASKED: dict[str, Any] = {key.name: key.default for key in BLOCKS["piece"]}


def _meant(name: str, folder: Path) -> str | None:
    """The pattern file that a missing one may have been: of nearly that name in its folder, beside the order, or in a
    folder there."""
    wanted = folder / name
    inside = sorted(f for f in folder.iterdir() if f.is_dir()) if folder.is_dir() else []
    for place in dict.fromkeys((wanted.parent, folder, *inside)):
        try:
            near = nearest(wanted.name, [f.name for f in place.iterdir() if f.suffix.lower() in (".svg", ".dxf")])
        except OSError:
            continue
        if near is not None:
            return Path(os.path.relpath(place / near, folder)).as_posix()
    return None


def drawn_pieces(
    patterns: Sequence[Block], pieces: Sequence[Block], folder: Path, *, read: ReadFile | None = None
) -> tuple[dict[tuple[str, str | None], Drawn], list[Finding], dict[str, float]]:
    """Every piece of the pattern files and every band, by name and size; what was found while reading; and the side of
    each file's test square as it measures, mm. ``read``: what reads a file (default: ``read_pieces``).

    Raises PatternError for a file that cannot be used, OrderError where two pieces have the same name and size.
    """
    found: dict[tuple[str, str | None], Drawn] = {}
    findings: list[Finding] = []
    squares: dict[str, float] = {}
    for block in patterns:
        here, said, square = _pattern(block, folder, read)
        findings.extend(said)
        if square is not None:
            squares[block["file"]] = square
        for piece in here:
            _keep(found, Drawn(piece), block.place)
    for block in pieces:
        if block["rectangle"] is not None:
            for key in ("grain", "allowance"):
                if key in block.given:
                    block.at(key).refuse(
                        "a rectangle takes no such key: its measures are along × across the grain, as cut",
                        code="piece.rectangle",
                    )
            if any(name == block["name"] for name, _ in found):
                block.at("rectangle").refuse(
                    f"a pattern file has a piece '{block['name']}' too: give the band another name, or leave out "
                    "rectangle",
                    code="piece.name-twice",
                )
            _keep(found, Drawn(band_of(block["name"], block["size"], *block["rectangle"]), band=True), block.place)
    return found, findings, squares


def _keep(found: dict[tuple[str, str | None], Drawn], drawn: Drawn, place: Place) -> None:
    twin = found.get(drawn.piece.key)
    if twin is not None:
        here, there = drawn.piece.file or "the order", twin.piece.file or "the order"
        where = f"twice in {here}" if here == there else f"in {there} and in {here}"
        place.refuse(
            f"the piece is there {where} with the same size; one was expected: give each [[pattern]] its size, or "
            "name the pieces differently in the drawing",
            piece=drawn.piece.label,
            code="piece.name-twice",
        )
    found[drawn.piece.key] = drawn


def _pattern(block: Block, folder: Path, read: ReadFile | None) -> tuple[list[Piece], list[Finding], float | None]:
    """The pieces of one file that the order takes, findings, and the measured test square."""
    name: str = block["file"]
    path = folder / name
    if not path.is_file():
        near = _meant(name, folder)
        if path.is_dir():
            problem = f"'{name}' is a folder; a pattern file (SVG, DXF or PDF) was expected"
        elif os.path.lexists(path):
            problem = f"'{name}' is no ordinary file; a pattern file (SVG, DXF or PDF) was expected"
        else:
            problem = f"there is no file '{name}' in {path.parent}; a pattern file (SVG, DXF or PDF) was expected"
        block.at("file").refuse(problem + (f": did you mean '{near}'?" if near else ""), code="file.missing")
    from nesting.files import read_pieces  # only an order with drawings pays for the drawing libraries

    gap = block["join_gap"]
    try:
        reading = (read or read_pieces)(
            path,
            units=block["units"],
            join_gap=JOIN_GAP_MM if gap is None else gap,
            pages=block["pages"],
            layers=block["layer"],
        )
    except PatternError as error:
        raise PatternError(
            error.message, file=name, piece=error.piece, key=error.key, code=error.code, figures=error.figures
        ) from None
    findings = [replace(f, file=name) for f in reading.findings]
    if not reading.units_known:
        raise PatternError(
            'the file does not say its units; write units = "mm" (or "cm", "in") under its [[pattern]], then compare '
            "the listed sizes of the pieces with a ruler",
            file=name,
            code="units.missing",
        )
    if not reading.pieces:
        raise PatternError(
            "there is no piece in it; a closed cut outline for each piece was expected",
            file=name,
            code="drawing.no-outline",
        )
    pieces, findings = _called(block, name, [replace(p, file=name) for p in reading.pieces], findings)
    taken, told = _of_one_size(block, name, pieces, findings)
    return taken, told, reading.test_square


def _called(
    block: Block, name: str, pieces: list[Piece], findings: list[Finding]
) -> tuple[list[Piece], list[Finding]]:
    """The pieces of one file and what was found in it, under the names that the order gives them."""
    called: dict[str, str] = dict(block["names"])
    there = sorted({p.name for p in pieces})
    for old in called:
        if old not in there:
            near = nearest(old, there)
            block.at("names").refuse(
                f"there is no piece '{old}' in {name}, which has {listing(there)}"
                + (f": did you mean '{near}'?" if near else ": use one of these"),
                code="piece.unknown",
            )
    renamed = [replace(p, name=called.get(p.name, p.name)) for p in pieces]
    labels = {p.label: new.label for p, new in zip(pieces, renamed, strict=True)}
    return renamed, [replace(f, piece=labels.get(f.piece, f.piece)) if f.piece else f for f in findings]


def _of_one_size(
    block: Block, name: str, pieces: list[Piece], findings: list[Finding]
) -> tuple[list[Piece], list[Finding]]:
    """The pieces of the size that the order asks for, all of them if it asks for none, and what is told of them."""
    wanted: str | None = block["size"]
    if wanted is None:
        return pieces, findings
    sizes = {p.size for p in pieces if p.size is not None}
    if len(sizes) <= 1:
        if sizes and sizes != {wanted}:
            findings.append(
                Finding(
                    "note",
                    f"the order's size '{wanted}' is used in place of the file's '{next(iter(sizes))}'",
                    name,
                    code="size.from-order",
                )
            )
        return [replace(p, size=wanted) for p in pieces], findings
    if wanted not in sizes:
        block.at("size").refuse(
            f"found '{wanted}', but {name} holds the sizes {listing(sorted(sizes))}: use one of these",
            code="size.unknown",
        )
    left = sizes - {wanted}
    findings.append(
        Finding(
            "note",
            f"size '{wanted}' is taken; {listing(sorted(left))} are left out, as the order asks",
            name,
            code="size.chosen",
        )
    )
    taken = [replace(p, size=wanted) for p in pieces if p.size in (wanted, None)]
    told = [f for f in findings if f.piece is None or not any(f.piece.endswith(f" {size}") for size in left)]
    return taken, told


def band_of(name: str, size: str | None, along: float, across: float) -> Piece:
    """A rectangle, mm along and across its grain, its edges called bottom, right, top and left."""
    x, y = along / 2, across / 2
    ring: Ring = ((-x, -y), (x, -y), (x, y), (-x, y))
    sides = zip(("bottom", "right", "top", "left"), ring, ring[1:] + ring[:1], strict=True)
    return Piece(
        name=name,
        size=size,
        outline=ring,
        seam=None,
        grainline=((-0.4 * along, 0.0), (0.4 * along, 0.0)),
        edges=tuple(Edge(name, start, end) for name, start, end in sides),
    )


def ask(
    pieces: Sequence[Block],
    drawn: Iterable[tuple[str, str | None]],
    root: Place,
) -> dict[tuple[str, str | None], Asked]:
    """What the ``[[piece]]`` blocks ask of each drawn piece; a block with a size counts before the one for all sizes.

    Raises OrderError for a block whose piece is in no file.
    """
    keys = list(drawn)
    blocks: dict[tuple[str, str | None], list[Block]] = {key: [] for key in keys}
    for block in sorted(pieces, key=lambda b: b["size"] is not None):
        here = [k for k in keys if k[0] == block["name"] and (block["size"] is None or k[1] == block["size"])]
        if not here:
            refuse_unknown_piece(block.at("name"), block["name"], block["size"], keys)
        for key in here:
            blocks[key].append(block)
    return {key: Asked(root, tuple(found)) for key, found in blocks.items()}


def refuse_unknown_piece(place: Place, name: str, size: str | None, keys: Iterable[tuple[str, str | None]]) -> None:
    """Raise the OrderError for a piece that is in no file."""
    keys = list(keys)
    names = sorted({k[0] for k in keys})
    if name in names and size is not None:
        sizes = sorted({k[1] or "no size" for k in keys if k[0] == name})
        place.refuse(
            f"there is no piece '{name}' in size '{size}'; it is there in {listing(sizes)}: use one of these",
            code="piece.unknown",
        )
    near = nearest(name, names)
    hint = f"did you mean '{near}'? " if near else ""
    place.refuse(
        f"there is no piece '{name}' in the pattern files; {hint}there are {listing(names)}"
        if names
        else f"there is no piece '{name}': no [[pattern]] file is given, and no rectangle",
        code="piece.unknown",
    )


def as_drawn(drawn: Drawn, asked: Asked) -> Piece:
    """The piece in its grain frame, neither altered nor finished. Raises as ``ready_piece`` does."""
    piece = drawn.piece
    how = Preparation(
        fold=None if asked["fold"] == "none" else asked["fold"],
        grain=0.0 if asked["grain"] is None and piece.grainline is None else asked["grain"],
        edges=asked.edges,
        allowance=asked["allowance"],
    )
    return prepare(piece, how, file=piece.file or asked.root.file)[0]


def ready_piece(
    drawn: Drawn, asked: Asked, cloth: str, finishes: Mapping[str, Finish]
) -> tuple[CutPiece, tuple[Finding, ...]]:
    """The piece as it will be laid, and what there is to tell about it.

    Raises PatternError where the drawing cannot be used, OrderError where the order asks what cannot be.
    """
    piece = drawn.piece
    file = piece.file or asked.root.file
    grain, findings = _grain_asked(piece, asked, file)
    how = Preparation(
        fold=None if asked["fold"] == "none" else asked["fold"],
        grain=grain,
        edges=asked.edges,
        alterations=asked.alterations,
        finishes=tuple(
            (edge, finish_from_phrase(value, asked.at("finish").at(edge), finishes)) for edge, value in asked["finish"]
        ),
        allowance=asked["allowance"],
        add_centre_notches=tuple(dict.fromkeys(asked["add_centre_notches"] + asked.centre_notches)),
        trim_short=asked["trim_short"],
        add_fold_notches=asked.fold_notches,
    )
    try:
        ready, told, steps = prepared(piece, how, file=file)
    except OrderError as error:
        where = asked.blocks[-1].place if asked.blocks else asked.root
        raise OrderError(
            error.message,
            file=where.file,
            piece=error.piece or piece.label,
            key=error.key or where.key or None,
            code=error.code,
            figures=error.figures,
        ) from None
    findings.extend(told)
    if ready.fold is not None and not asked["unfold"]:
        _refuse_bias_fold(ready, asked)
    cut, mirrored = _count(ready, asked, findings, file)
    return CutPiece(
        piece=ready,
        drawn=None if drawn.band else piece,
        cut=cut,
        mirrored=mirrored,
        cloth=cloth,
        turn=asked["turn"],
        tilt=asked["tilt"],
        needs_stretch=asked["needs_stretch"],
        unfold=asked["unfold"],
        alike_ok=asked["alike_ok"],
        motif=_motif(asked["motif"], ready, asked.at("motif")) if asked["motif"] is not None else None,
        band=drawn.band,
        altered=steps,
    ), tuple(findings)


def _grain_asked(piece: Piece, asked: Asked, file: str | Path | None) -> tuple[float | None, list[Finding]]:
    """The angle of the grain that the order gives, degrees, and what is to be told. PatternError where neither drawing
    nor order tells it."""
    grain: float | None = asked["grain"]
    if grain is not None or piece.grainline is not None:
        return grain, []
    if asked["turn"] == "any":
        words = "no grainline; it may be turned to any angle, as the order says"
        return 0.0, [Finding("note", words, None if file is None else str(file), piece.label, code="grain.none")]
    raise PatternError(
        "neither the drawing nor the order tells the grain: draw a grainline, or write grain = 90 (up the "
        'page; 0 is to the right) under its [[piece]], or turn = "any" if it has none',
        file=file,
        piece=piece.label,
        code="grain.missing",
    )


def _refuse_bias_fold(piece: Piece, asked: Asked) -> None:
    """OrderError for a half that lies on the bias and may not be opened out: no fold of the cloth runs so."""
    assert piece.fold is not None
    (ax, ay), (bx, by) = piece.fold
    off = (math.degrees(math.atan2(by - ay, bx - ax)) + 22.5) % 90.0
    drawn_so = off > 45.0
    if not drawn_so and asked["turn"] != "bias":
        return
    why = 'turn = "bias" lays its fold edge at 45° to the cloth'
    if drawn_so:
        why = "its fold edge lies at 45° to the grain"
    asked.at("unfold").refuse(
        f"{why}, where no fold of the cloth runs, so the piece can only be opened out: take unfold = false away",
        piece=piece.label,
        code="fold.bias",
    )


def _count(piece: Piece, asked: Asked, findings: list[Finding], file: str) -> tuple[int, bool]:
    said: bool | None = asked["mirrored"]
    mirrored = piece.mirrored if said is None else said
    cut: int | None = asked["cut"] if asked["cut"] is not None else piece.cut
    if piece.fold is not None and mirrored:
        # Both halves of an on-fold piece are mirror images already, so left and right are the same piece.
        if said:
            findings.append(
                Finding(
                    "note",
                    "a piece on the fold is its own mirror image; mirrored = true is not needed",
                    file,
                    piece.label,
                    code="piece.mirrored-on-fold",
                )
            )
        mirrored = False
    if cut is None:
        cut = 2 if mirrored else 1
    if mirrored and cut % 2:
        message = (
            f"mirrored, but cut = {cut}; left and right come in pairs, so an even number was expected: write cut = "
            f"{cut + 1}, or mirrored = false"
        )
        if asked["cut"] is None and said is None:
            raise PatternError(message + " under its [[piece]]", file=file, piece=piece.label, code="fold.side-missing")
        asked.at("cut" if asked["cut"] is not None else "mirrored").refuse(
            message, piece=piece.label, code="fold.side-missing"
        )
    return cut, bool(mirrored)


def _motif(raw: Any, piece: Piece, place: Place) -> Motif:
    expected = (
        'a table such as { at = "crown" } (a notch or drill mark) or { point = ["12 cm", "0"] } (along, across '
        'from the middle of the grainline), with offset = ["0", "0"] on the cloth if need be, was expected'
    )
    if not isinstance(raw, dict) or set(raw) - {"at", "point", "offset"} or ("at" in raw) == ("point" in raw):
        place.refuse(f"found {raw!r}; {expected}", piece=piece.label, code="piece.motif")
    signed = pair_of(length(negative=True), "two lengths (along, across)")
    offset = signed(raw.get("offset", [0, 0]), place.at("offset"))
    if "point" in raw:
        return Motif(signed(raw["point"], place.at("point")), offset)
    name = text(raw["at"], place.at("at"))
    marks = {n.name: n.at for n in piece.notches if n.name} | {d.name: d.at for d in piece.drills if d.name}
    if name not in marks:
        place.at("at").refuse(
            f"there is no notch or drill mark '{name}'; there are {listing(marks)}",
            piece=piece.label,
            code="notch.unknown",
        )
    return Motif(marks[name], offset)
