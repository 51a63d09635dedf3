"""Reading a cutting order: the TOML file that says what to cut, from what."""

from __future__ import annotations

import hashlib
import tomllib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from nesting.files.drawn.texts import size_at_end
from nesting.files.kept_readings import read_kept
from nesting.files.orders.order_bands import bands_for, with_bands
from nesting.files.orders.order_cloth import read_cloth, read_remnants, read_trim, refuse_unknown_cloth
from nesting.files.orders.order_finish import named_finish
from nesting.files.orders.order_followers import shaped_by_leaders
from nesting.files.orders.order_joins import (
    PieceKey,
    alterations,
    centre_notches,
    edge_specs,
    edges_of,
    read_seam,
    read_together,
    with_seam_notches,
)
from nesting.files.orders.order_people import for_wearers, read_openings, read_wearers, refuse_unknown_measures
from nesting.files.orders.order_pieces import (
    Asked,
    Drawn,
    ReadFile,
    ask,
    drawn_pieces,
    ready_piece,
    refuse_unknown_piece,
)
from nesting.files.orders.order_schema import TOP, Block, read_block, read_blocks
from nesting.files.orders.order_values import Place, listing
from nesting.files.orders.slips import line_of, toml_hint
from nesting.files.orders.written_text import text_of
from nesting.model.errors import NestingError, OrderError, PatternError, UnitsError
from nesting.model.findings import Finding, in_order_of_weight
from nesting.model.order import Cloth, CutPiece, Garment, Order
from nesting.model.piece import Piece
from nesting.pieces.grain import sides_that_do
from nesting.pieces.wishes import Finish

__all__ = ["answered", "asked_of", "document_of", "load_order", "order_from"]

#: bytes. A cutting order is a page or two; a larger file is something else.
LARGEST_ORDER = 2_000_000


def load_order(path: str | Path) -> Order:
    """The cutting order in ``path`` (TOML), its pattern files read and its pieces made ready to be laid.

    File names in it are seen from the order's own folder. Everything repaired, ignored or unclear is in
    ``Order.findings``.

    Raises OrderError where the order is wrong, PatternError where a drawing is, UnitsError where a length cannot be
    read; the message names file and key, what was found, what was expected and what to do.
    """
    path = Path(path)
    return order_from(_content(path), path, read=read_kept)


def order_from(content: bytes, path: Path, *, read: ReadFile | None = None) -> Order:
    """The order that ``content`` is, as if it stood in ``path``; see ``load_order``. ``read`` takes the place of
    ``read_pieces`` for its pattern files, for a caller that keeps what it has read."""
    try:
        return _read_order(content, path, read)
    except (OrderError, UnitsError) as error:
        line = line_of(text_of(content, path), error.key) if error.key and error.file == str(path) else None
        if line is None or error.line is not None:
            raise
        raise type(error)(
            error.message,
            file=error.file,
            line=line,
            piece=error.piece,
            key=error.key,
            code=error.code,
            figures=error.figures,
        ) from None


def _read_order(content: bytes, path: Path, read: ReadFile | None) -> Order:
    document = document_of(content, path)
    root = Place(str(path))
    top = read_block({k: v for k, v in document.items() if k in {key.name for key in TOP}}, TOP, root)
    units: str | None = top["units"]
    root = Place(str(path), units=units)
    blocks = read_blocks(document, root)
    imperial = units in ("in", "yd")
    _refuse_empty(blocks, root)

    cloths = tuple(read_cloth(block, imperial=imperial) for block in blocks["cloth"])
    finishes: dict[str, Finish] = {block["name"]: named_finish(block) for block in blocks["finish"]}
    drawn, findings, squares = drawn_pieces(blocks["pattern"], blocks["piece"], path.parent, read=read)
    for key, band in bands_for(blocks["piece"], drawn).items():
        if any(name == key[0] and not one.band for (name, _), one in drawn.items()):
            root.at("piece").refuse(
                f"a pattern file has a piece '{key[0]}' too: give the band another name", code="piece.name-twice"
            )
        drawn[key] = band
    try:
        return _order_of(document, path, content, top, blocks, root, cloths, finishes, drawn, findings, squares)
    except NestingError as error:
        raise _with_units_first(error, findings, drawn) from None


def _with_units_first(
    error: NestingError, findings: Iterable[Finding], drawn: Mapping[PieceKey, Drawn]
) -> NestingError:
    """What went wrong with a piece whose drawing does not state its units may be their fault: that is said first."""
    files = {error.file} | {one.piece.file for one in drawn.values() if one.piece.label == error.piece}
    unsure = next((f for f in findings if f.code in ("units.assumed", "units.disagree") and f.file in files), None)
    if unsure is None or not error.piece:
        return error
    return type(error)(
        f"first: {unsure.file}: {unsure.message}. Then: {error.message}",
        file=error.file,
        piece=error.piece,
        key=error.key,
        code=error.code,
        figures=error.figures,
    )


def _order_of(
    document: Mapping[str, Any],
    path: Path,
    content: bytes,
    top: Block,
    blocks: Mapping[str, list[Block]],
    root: Place,
    cloths: tuple[Cloth, ...],
    finishes: Mapping[str, Finish],
    drawn: dict[PieceKey, Drawn],
    findings: list[Finding],
    squares: Mapping[str, float],
) -> Order:
    """The order, once its pattern files are read."""
    units: str | None = top["units"]
    imperial = units in ("in", "yd")
    keys = list(drawn)
    garments, notes = _garments(blocks["garment"], keys, cloths, root)
    findings += notes
    asked = asked_of(blocks, keys, root)
    wearers = read_wearers(blocks["wearer"])
    garments, drawn, asked = for_wearers(blocks, wearers, garments, drawn, asked)
    keys = list(drawn)
    refuse_unknown_measures(blocks, wearers)
    pieces = _ready(drawn, asked, finishes, garments, cloths, findings)
    _refuse_unknown_cloths(garments, pieces, asked, cloths, blocks["garment"])
    together = read_together(blocks["together"], keys, {p.piece.key: p.cut for p in pieces})
    pieces, added = shaped_by_leaders(pieces, together, drawn, asked)
    findings += added
    seams = tuple(read_seam(block, pieces) for block in blocks["seam"])
    pieces, added = with_seam_notches(pieces, blocks["seam"], seams, str(path))
    findings += added
    remnants, told = read_remnants(blocks["remnant"], cloths, path.parent)
    order = Order(
        title=top["title"] or path.stem,
        units=units or "cm",
        path=path,
        sha256=hashlib.sha256(content).hexdigest(),
        pieces=pieces,
        cloths=cloths,
        garments=garments,
        remnants=remnants,
        together=together,
        seams=seams,
        trims=tuple(read_trim(block, edges_of(block, pieces), imperial=imperial) for block in blocks["trim"]),
        wearers=wearers,
        openings=read_openings(blocks["opening"], pieces),
        findings=_unanswered((*findings, *told), drawn, asked, garments),
        least_fibre_stretch=top["fibre_stretch"],
        test_squares=tuple(squares.items()),
    )
    if not any(block["round"] for block in blocks["piece"]):
        return order
    pieces, added = with_bands(order, drawn, asked, finishes)
    return replace(order, pieces=pieces, findings=(*order.findings, *added))


def _content(path: Path) -> bytes:
    if path.is_dir():
        raise OrderError("this is a folder; a cutting order (*.toml) was expected", file=path, code="file.folder")
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_ORDER + 1)
    except FileNotFoundError:
        raise OrderError(
            "there is no such file; a cutting order (*.toml) was expected: 'nesting new' writes one to start from",
            file=path,
            code="file.missing",
        ) from None
    except OSError as error:
        raise OrderError(
            f"the file cannot be read ({error.strerror}); check its permissions", file=path, code="file.unreadable"
        ) from None
    if len(content) > LARGEST_ORDER:
        raise OrderError(
            f"more than {LARGEST_ORDER // 1_000_000} MB, too large for a cutting order (*.toml)",
            file=path,
            code="file.too-large",
        )
    return content


def document_of(content: bytes, path: Path) -> dict[str, Any]:
    """The order's TOML as it is, nothing checked. Raises OrderError where it cannot be read."""
    if path.suffix.lower() in (".svg", ".dxf", ".pdf"):
        raise OrderError(
            "this is a pattern file; a cutting order (*.toml) was expected: 'nesting new' writes one from pattern "
            "files",
            file=path,
            code="order.is-pattern",
        )
    text = text_of(content, path)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # tomllib's own error is a ValueError
        said = "too deeply nested" if isinstance(error, RecursionError) else str(error)
        raise OrderError(
            f"not readable as TOML ({said}); {toml_hint(text, said)}", file=path, code="order.toml"
        ) from None


def _refuse_empty(blocks: Mapping[str, Sequence[Block]], root: Place) -> None:
    if not blocks["pattern"] and not any(block["rectangle"] for block in blocks["piece"]):
        root.at("pattern").refuse(
            'no [[pattern]] is given; at least one with file = "…" (SVG, DXF or PDF) was expected',
            code="order.no-pattern",
        )
    if not blocks["cloth"]:
        root.at("cloth").refuse(
            'no [[cloth]] is given; at least one with name = "main" and width = "150 cm" was expected',
            code="order.no-cloth",
        )
    if not blocks["garment"]:
        root.at("garment").refuse(
            "no [[garment]] is given; at least one with name, size and count was expected", code="order.no-garment"
        )


def asked_of(blocks: Mapping[str, Sequence[Block]], keys: Sequence[PieceKey], root: Place) -> dict[PieceKey, Asked]:
    """All that the blocks of an order ask of each piece. Raises OrderError where they name what is not there."""
    edges = edge_specs(blocks["edge"], keys)
    changes = alterations([block for block in blocks["alter"] if block["wearer"] is None], keys)
    notched = centre_notches(blocks["seam"], keys)
    folded = centre_notches(blocks["seam"], keys, in_rows=True)
    return {
        key: Asked(
            one.root,
            one.blocks,
            tuple(edges.get(key, ())),
            tuple(changes.get(key, ())),
            tuple(notched.get(key, ())),
            tuple(folded.get(key, ())),
        )
        for key, one in ask(blocks["piece"], keys, root).items()
    }


def _garments(
    blocks: Sequence[Block], keys: Sequence[PieceKey], cloths: Sequence[Cloth], root: Place
) -> tuple[tuple[Garment, ...], list[Finding]]:
    """The garments, each with the pieces it is made of, and the pieces that none of them uses."""
    sizes = list(dict.fromkeys(size for _, size in keys if size is not None))
    garments: list[Garment] = []
    names, told = _names_by_cloth(blocks, sizes, root)
    for name, block in zip(names, blocks, strict=True):
        size: str | None = block["size"]
        if size is not None and sizes and size not in sizes:
            block.at("size").refuse(
                f"found '{size}', but the pattern files have {listing(sizes)}: use one of these", code="size.unknown"
            )
        if size is None and len(sizes) > 1:
            block.at("size").refuse(
                f"this key is missing, and the pattern files have several sizes: {listing(sizes)}", code="size.missing"
            )
        if size is None and sizes:
            size = sizes[0]
        here = [name for name, of in keys if of is None or of == size or size is None]
        for piece in block["pieces"] or ():
            if piece not in here:
                refuse_unknown_piece(block.at("pieces"), piece, size if piece in [k[0] for k in keys] else None, keys)
        pieces = block["pieces"] or tuple(dict.fromkeys(here))
        for source, other in block["cloth"]:
            if other not in [cloth.name for cloth in cloths]:
                refuse_unknown_cloth(block.at("cloth").at(source), other, cloths)
        most = block["count"] == "most"
        if block["ratio"] is not None and not most:
            block.at("ratio").refuse(
                f'found {block["ratio"]}, but count is a number: a ratio goes with count = "most"; take one away',
                code="garment.ratio",
            )
        garments.append(
            Garment(
                name=name,
                size=size,
                count=(block["ratio"] or 1) if most else block["count"],
                pieces=pieces,
                cloth=block["cloth"],
                value=block["value"],
                same_cloth=block["same_cloth"],
                most=most,
                ratio=block["ratio"],
            )
        )
    used = {(name, g.size) for g in garments for name in g.pieces}
    notes = [
        Finding(
            "note",
            f"in no garment of the order, so it is not cut{f' (size {size})' if size else ''}",
            root.file,
            name,
            code="piece.not-cut",
        )
        for name, size in keys
        if not _is_used((name, size), used)
    ]
    return tuple(garments), [*told, *_of_other_sizes(garments, keys, root), *notes]


def _of_other_sizes(garments: Sequence[Garment], keys: Sequence[PieceKey], root: Place) -> list[Finding]:
    """A piece without a size that is called by one ("gusset S"), and is cut for another."""
    found = []
    for name in dict.fromkeys(name for name, size in keys if size is None):
        ending = size_at_end(name)
        others = [
            g.size for g in garments if name in g.pieces and g.size and ending and g.size.upper() != ending[1].upper()
        ]
        if ending and others:
            found.append(
                Finding(
                    "warning",
                    f"is called by size {ending[1]}, but the drawing gives it none, so it is cut for every size "
                    f"({listing(dict.fromkeys(others))} too): if it is meant for {ending[1]} alone, write "
                    f'size = "{ending[1]}" under its [[pattern]], where its file has no other sizes, or keep it '
                    "out of the pieces of the other garments",
                    root.file,
                    name,
                    code="piece.of-other-size",
                    figures={"size": ending[1], "cut_for": tuple(dict.fromkeys(others))},
                )
            )
    return found


def _names_by_cloth(blocks: Sequence[Block], sizes: Sequence[str], root: Place) -> tuple[list[str], list[Finding]]:
    """The name of each garment; those that differ in nothing but their cloth are told apart by it, and that is said.
    ``sizes``: of the pattern files, the first where a garment does not say its own.

    OrderError where their names are one all the same.
    """

    def key(block: Block, name: str) -> tuple[str, str | None, str | None]:
        return name, block["size"] or next(iter(sizes), None), block["wearer"]

    seen = Counter(key(block, block["name"]) for block in blocks)
    by_cloth = {name for (name, _, _), number in seen.items() if number > 1}
    names, notes = [], []
    taken: set[tuple[str, str | None, str | None]] = set()
    for block in blocks:
        name = block["name"]
        if name in by_cloth and block["cloth"]:
            name = f"{name} in {' and '.join(dict.fromkeys(other for _, other in block['cloth']))}"
        if key(block, name) in taken:
            block.place.refuse(
                f"there are two garments '{name}', which their cloths do not tell apart: give one another name",
                code="garment.name-twice",
            )
        taken.add(key(block, name))
        if name != block["name"] and name not in names:
            notes.append(
                Finding(
                    "note",
                    f"'{block['name']}' is cut from several cloths; this one is told as '{name}'",
                    root.file,
                    code="garment.by-cloth",
                )
            )
        names.append(name)
    return names, notes


def _is_used(key: PieceKey, used: set[PieceKey]) -> bool:
    name, size = key
    return any(n == name and (size is None or s is None or s == size) for n, s in used)


#: What the order answers with which key of [[piece]], so that it is not asked again.
_ANSWERS = {"fold.side-not-said": "fold", "grain.unsure": "grain", "dxf.quantity": "cut"}


def _meant(finding: Finding, drawn: Mapping[PieceKey, Drawn]) -> list[PieceKey]:
    """The pieces that a finding is about."""
    return [k for k, one in drawn.items() if finding.piece in (one.piece.label, k[0]) and finding.piece]


def answered(finding: Finding, drawn: Mapping[PieceKey, Drawn], asked: Mapping[PieceKey, Asked]) -> bool:
    """Whether a finding asks what the order says for each piece that it is about."""
    key, meant = _ANSWERS.get(finding.code), _meant(finding, drawn)
    return key is not None and bool(meant) and all(asked[k][key] is not None for k in meant)


def _unanswered(
    findings: Iterable[Finding],
    drawn: Mapping[PieceKey, Drawn],
    asked: Mapping[PieceKey, Asked],
    garments: Sequence[Garment],
) -> tuple[Finding, ...]:
    """The findings, each once, questions and warnings first, without what the order answers; a question about a piece
    that is not cut forbids nothing."""
    used = {(name, g.size) for g in garments for name in g.pieces}
    left: dict[Finding, None] = {}
    for finding in findings:
        if answered(finding, drawn, asked):
            continue
        meant = _meant(finding, drawn)
        stops = finding.forbids and (not meant or any(_is_used(k, used) for k in meant))
        if finding.code == "fold.side-not-said" and meant:
            finding = _with_choices(finding, [(drawn[k].piece, asked[k]["grain"]) for k in meant])
        left[replace(finding, forbids=stops)] = None
    return in_order_of_weight(left)


def _with_choices(finding: Finding, pieces: Sequence[tuple[Piece, float | None]]) -> Finding:
    """The question which side lies on the fold, with the sides that would do in every one of the pieces. ``pieces``:
    each with the grain that the order gives, degrees."""
    could = [sides_that_do(piece, grain) for piece, grain in pieces]
    sides = [side for side in could[0] if all(side in one for one in could)]
    choices = " or ".join(f'fold = "{side}"' for side in sides)
    draw = "; no side that left, right, top or bottom names would do, so draw a fold line along the edge"
    words = f"{finding.message}: {choices}" if sides else finding.message + draw
    return replace(finding, message=words, figures={**finding.figures, "choices": tuple(sides)})


def _ready(
    drawn: Mapping[PieceKey, Drawn],
    asked: Mapping[PieceKey, Asked],
    finishes: Mapping[str, Finish],
    garments: Sequence[Garment],
    cloths: Sequence[Cloth],
    findings: list[Finding],
) -> tuple[CutPiece, ...]:
    used = {(name, g.size) for g in garments for name in g.pieces}
    pieces: list[CutPiece] = []
    without_grain: list[PatternError] = []
    for key, one in drawn.items():
        try:
            notes = findings if _is_used(key, used) else []
            piece, told = ready_piece(one, asked[key], _cloth_of(one, asked[key], cloths, notes), finishes)
        except PatternError as error:
            if _is_used(key, used) and error.code == "grain.missing":
                without_grain.append(error)  # all of them are asked for at once
                continue
            if _is_used(key, used):
                raise
            # A file may hold more than this order cuts; what is wrong there is told and stops nothing.
            findings.append(
                Finding(
                    "ignored",
                    f"not cut, and not usable: {error.message}",
                    error.file,
                    one.piece.label,
                    code="piece.not-usable",
                )
            )
            continue
        pieces.append(piece)
        findings.extend(told)
    if without_grain:
        raise _grain_asked(without_grain)
    return tuple(pieces)


def _grain_asked(errors: Sequence[PatternError]) -> PatternError:
    """One question for all pieces that have no grain."""
    first = errors[0]
    if len(errors) == 1:
        return first
    others = listing([error.piece for error in errors[1:]])
    return PatternError(
        f"{first.message}. The same is asked of {others}",
        file=first.file,
        piece=first.piece,
        key=first.key,
        code=first.code,
        figures={"pieces": tuple(error.piece or "" for error in errors)},
    )


def _cloth_of(drawn: Drawn, asked: Asked, cloths: Sequence[Cloth], findings: list[Finding]) -> str:
    """The order's cloth; else the file's material, if a cloth is called so; else "main", or the only cloth."""
    if asked["cloth"] is not None:
        return str(asked["cloth"])
    by_name = {cloth.name.casefold(): cloth.name for cloth in cloths}
    material = (drawn.piece.material or "").strip()
    if material.casefold() in by_name:
        return by_name[material.casefold()]
    name = cloths[0].name if len(cloths) == 1 else "main"
    if material:
        findings.append(
            Finding(
                "note",
                f"the file says material '{material}', but no cloth is called so; '{name}' is taken "
                "(the key cloth under its [[piece]] changes that)",
                drawn.piece.file,
                drawn.piece.label,
                code="cloth.material-unknown",
            )
        )
    return name


def _refuse_unknown_cloths(
    garments: Sequence[Garment],
    pieces: Sequence[CutPiece],
    asked: Mapping[PieceKey, Asked],
    cloths: Sequence[Cloth],
    blocks: Sequence[Block],
) -> None:
    known = {cloth.name for cloth in cloths}
    for garment, block in zip(garments, blocks, strict=True):
        mapping = dict(garment.cloth)
        mine = [p for p in pieces if p.name in garment.pieces and p.size in (None, garment.size)]
        for source in mapping:
            if source not in known | {p.cloth for p in mine}:
                block.at("cloth").at(source).refuse(
                    f"none of its pieces is cut from '{source}'; they are cut from "
                    f"{listing(sorted({p.cloth for p in mine}))}",
                    code="cloth.not-used",
                )
        for piece in mine:
            if mapping.get(piece.cloth, piece.cloth) not in known:
                refuse_unknown_cloth(asked[piece.piece.key].at("cloth"), piece.cloth, cloths, piece=piece.piece.label)
