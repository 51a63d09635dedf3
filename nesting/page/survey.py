"""An order as far as it can be read: every piece as drawn, what is asked of it, and what is wrong, each where it is.

Laying needs a whole order, and reading stops at the first thing that is wrong. Somebody who is still at work on an
order needs to see all of it, so here each file, each piece and the whole are read by themselves, by the same readers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from nesting.checking.judging import Check, check_order
from nesting.files.kept_readings import read_kept
from nesting.files.orders.order import answered, asked_of, document_of, order_from
from nesting.files.orders.order_bands import bands_for
from nesting.files.orders.order_cloth import read_cloth
from nesting.files.orders.order_finish import named_finish
from nesting.files.orders.order_joins import alterations
from nesting.files.orders.order_pieces import Asked, Drawn, band_of, drawn_pieces, ready_piece
from nesting.files.orders.order_schema import BLOCKS, TOP, Block, read_block, read_blocks
from nesting.files.orders.order_values import Place
from nesting.files.reading import Reading
from nesting.model.errors import NestingError, OrderError, PatternError
from nesting.model.findings import Finding
from nesting.model.order import Cloth, CutPiece, Order
from nesting.pieces.wishes import Finish
from nesting.planning.layout.feasible import laying_findings
from nesting.resolving.cutting_list import CuttingList
from nesting.resolving.resolve import resolve

__all__ = ["Key", "Reader", "Survey", "survey"]

Key = tuple[str, str | None]


class Reader:
    """Reads pattern files and keeps the readings until a file changes."""

    def __init__(self) -> None:
        self._kept: dict[tuple[Any, ...], Reading | NestingError] = {}

    def __call__(
        self,
        path: Path,
        *,
        units: str | None,
        join_gap: float,
        pages: Sequence[int] | None = None,
        layers: Sequence[str] | None = None,
    ) -> Reading:
        """As ``read_pieces``."""

        def fresh() -> Reading:
            return read_kept(path, units=units, join_gap=join_gap, pages=pages, layers=layers)

        chosen = (tuple(pages) if pages is not None else None, tuple(layers) if layers is not None else None)
        try:
            stat = path.stat()
            key = (str(path), stat.st_mtime_ns, stat.st_size, stat.st_ino, units, join_gap, *chosen)
        except OSError:
            return fresh()
        if key not in self._kept:
            if len(self._kept) > 200:
                self._kept.clear()
            try:
                self._kept[key] = fresh()
            except NestingError as error:
                self._kept[key] = error
        kept = self._kept[key]
        if isinstance(kept, NestingError):
            raise kept
        return kept


@dataclass(frozen=True)
class Survey:
    """``document``: the TOML as it is, empty where it cannot be read. ``drawn``, ``asked`` and ``ready`` are by
    piece; ``pattern_problems`` by the number of the pattern file, ``piece_problems`` by piece. ``order`` None: it
    cannot be laid as it is, ``problem`` says why; ``missing`` names blocks that are not there yet (cloth, garment,
    pattern), for which something was assumed so that the rest could be read (``assumed``: an order that tells the
    pieces, but not to be laid)."""

    path: Path
    text: str
    document: Mapping[str, Any]
    blocks: Mapping[str, list[Block]]
    drawn: Mapping[Key, Drawn]
    readings: Mapping[int, Reading]
    asked: Mapping[Key, Asked]
    ready: Mapping[Key, CutPiece]
    told: Mapping[Key, tuple[Finding, ...]]
    file_findings: Mapping[int, tuple[Finding, ...]]
    pattern_problems: Mapping[int, NestingError]
    piece_problems: Mapping[Key, NestingError]
    order: Order | None
    assumed: Order | None
    problem: NestingError | None
    missing: tuple[str, ...]
    finishes: Mapping[str, Finish] = field(default_factory=dict)

    @property
    def units(self) -> str:
        """What bare numbers are in."""
        return str(self.document.get("units", "cm"))

    @property
    def imperial(self) -> bool:
        """Whether people read inches here."""
        return self.units in ("in", "yd")

    @cached_property
    def check(self) -> Check | None:
        """The judgement of the pieces and seams, None where the order cannot be read."""
        order = self.order or self.assumed
        if order is None:
            return None
        try:
            return check_order(order)
        except NestingError:
            return None

    @cached_property
    def lying(self) -> tuple[Finding, ...]:
        """Cloths that cannot hold what is cut from them, or are of an unlikely width."""
        return laying_findings(self.listed) if self.listed is not None else ()

    @cached_property
    def listed(self) -> CuttingList | None:
        """The order's cutting list; None where it cannot be laid, of which the reasons are told elsewhere."""
        try:
            return resolve(self.order) if self.order is not None else None
        except NestingError:
            return None

    @cached_property
    def by_label(self) -> dict[str, Key]:
        """The pieces by what messages call them."""
        return {one.piece.label: key for key, one in self.drawn.items()}

    def asked_for(self, key: Key, wearer: str | None) -> Asked:
        """What is asked of a piece that is cut for a wearer, whose own alterations count as well; for everybody where
        ``wearer`` is None. Raises OrderError where one of them names what is not there."""
        if wearer is None:
            return self.asked[key]
        mine = [block for block in self.blocks.get("alter", []) if block["wearer"] in (None, wearer)]
        return replace(self.asked[key], alterations=tuple(alterations(mine, list(self.drawn)).get(key, ())))

    def made_for(self, key: Key, wearer: str | None) -> CutPiece | None:
        """The piece as it is cut for a wearer, whether or not a garment is cut for them yet; None where it cannot be
        cut at all. Raises NestingError where the wearer's alterations cannot be made."""
        plain = self.ready.get(key)
        if wearer is None or plain is None or plain.goes_round:
            return plain
        return ready_piece(self.drawn[key], self.asked_for(key, wearer), plain.cloth, self.finishes)[0]

    def piece_of(self, name: str, size: str | None) -> Key | None:
        """The key of a piece of that name in that size, or in any."""
        if (name, size) in self.drawn:
            return (name, size)
        return next((key for key in self.drawn if key[0] == name and (size is None or key[1] is None)), None)


def survey(text: str, path: Path, read: Reader) -> Survey:
    """Everything that can be read of the order ``text``, which stands in ``path``."""
    empty: dict[Any, Any] = {}
    blank = Survey(path, text, {}, {}, {}, {}, {}, {}, {}, {}, {}, {}, None, None, None, ())
    content = text.encode("utf-8")
    try:
        document = document_of(content, path)
    except NestingError as error:
        return replace(blank, problem=error)
    problem: NestingError | None = None
    try:
        top = read_block({k: v for k, v in document.items() if k in {key.name for key in TOP}}, TOP, Place(str(path)))
        root = Place(str(path), units=top["units"])
        blocks = read_blocks(document, root)
    except NestingError as error:
        root = Place(str(path), units=document.get("units") if isinstance(document.get("units"), str) else None)
        blocks, problem = _blocks_one_by_one(document, root), error
    drawn, readings, file_findings, pattern_problems = _drawn(blocks, path, read)
    bands, wrong = _bands(blocks, drawn)
    problem = problem or wrong
    keys = [*drawn, *bands]
    asked: dict[Key, Asked]
    try:
        asked = asked_of(blocks, keys, root)
    except NestingError as error:
        problem = problem or error
        asked = _asked_one_by_one(blocks, keys, root)
    file_findings = {
        number: tuple(f for f in told if not answered(f, drawn, asked)) for number, told in file_findings.items()
    }
    finishes, wrong = _finishes(blocks)
    problem = problem or wrong
    ready, told, piece_problems = _ready(drawn, asked, finishes, blocks, root)
    missing = tuple(kind for kind in ("pattern", "cloth", "garment") if not blocks.get(kind))
    if "pattern" in missing and any(block["rectangle"] for block in blocks.get("piece", [])):
        missing = tuple(kind for kind in missing if kind != "pattern")
    order = assumed = None
    problem = next(iter(pattern_problems.values()), problem)
    if problem is None and not missing:
        try:
            order = order_from(content, path, read=read)
        except NestingError as error:
            problem = error
    elif problem is None and missing and drawn:
        assumed = _assumed(text, path, read, missing)
    _with_bands(order or assumed, bands, drawn, ready, told)
    return Survey(
        path,
        text,
        document,
        blocks,
        drawn,
        readings,
        asked,
        ready,
        told,
        file_findings,
        pattern_problems,
        piece_problems,
        order,
        assumed,
        problem,
        missing,
        finishes or empty,
    )


def _bands(
    blocks: Mapping[str, list[Block]], drawn: Mapping[Key, Drawn]
) -> tuple[dict[Key, Drawn], NestingError | None]:
    """Bands that go round an opening, their length still to be worked out, and what is wrong with one."""
    try:
        return {k: b for k, b in bands_for(blocks.get("piece", []), drawn).items() if k not in drawn}, None
    except NestingError as error:
        return {}, error


def _finishes(blocks: Mapping[str, list[Block]]) -> tuple[dict[str, Finish], NestingError | None]:
    """The finishes that have a name, and what is wrong with the first that cannot be read."""
    found: dict[str, Finish] = {}
    problem: NestingError | None = None
    for block in blocks.get("finish", []):
        try:
            found[block["name"]] = named_finish(block)
        except NestingError as error:
            problem = problem or error
    return found, problem


def _with_bands(
    order: Order | None,
    bands: Mapping[Key, Drawn],
    drawn: dict[Key, Drawn],
    ready: dict[Key, CutPiece],
    told: dict[Key, tuple[Finding, ...]],
) -> None:
    """Bands that go round an opening are drawn as long as the order works them out; before that there is nothing to
    draw."""
    for cut in order.pieces if order is not None else ():
        key = cut.piece.key
        if key not in bands or not cut.goes_round:
            continue
        said = [f for f in order.findings if f.code == "band.length" and f.piece == cut.piece.label] if order else []
        long = next((f.figures["length"] for f in said), None)
        if not isinstance(long, float):
            continue
        along = [x for x, _ in bands[key].piece.outline]
        drawn[key] = replace(bands[key], piece=band_of(key[0], key[1], max(along) - min(along), long))
        ready[key], told[key] = cut, tuple(said)


def _assumed(text: str, path: Path, read: Reader, missing: tuple[str, ...]) -> Order | None:
    """The order with a cloth and a garment made up where none is there yet, so that its seams can be walked."""
    made = text + "\n"
    if "cloth" in missing:
        made += '\n[[cloth]]\nname = "main"\nwidth = "150 cm"\n'
    if "garment" in missing:
        made += '\n[[garment]]\nname = "garment"\n'
    try:
        return order_from(made.encode("utf-8"), path, read=read)
    except NestingError:
        return None


def _blocks_one_by_one(document: Mapping[str, Any], root: Place) -> dict[str, list[Block]]:
    """The blocks that can be read, each by itself."""
    blocks: dict[str, list[Block]] = {}
    for kind, keys in BLOCKS.items():
        blocks[kind] = []
        raw = document.get(kind, [])
        for number, one in enumerate(raw if isinstance(raw, list) else []):
            if not isinstance(one, dict):
                continue
            place = root.at(f"{kind}[{one.get('name', number + 1)}]")
            try:
                blocks[kind].append(read_block(one, keys, place))
            except NestingError:
                good = dict(one)
                for name in list(good):
                    try:
                        read_block({name: good[name]}, [k for k in keys if k.name == name], place)
                    except NestingError:
                        del good[name]
                try:
                    blocks[kind].append(read_block(good, keys, place))
                except NestingError:
                    continue
    return blocks


def _drawn(
    blocks: Mapping[str, list[Block]], path: Path, read: Reader
) -> tuple[dict[Key, Drawn], dict[int, Reading], dict[int, tuple[Finding, ...]], dict[int, NestingError]]:
    drawn: dict[Key, Drawn] = {}
    readings: dict[int, Reading] = {}
    findings: dict[int, tuple[Finding, ...]] = {}
    problems: dict[int, NestingError] = {}
    for number, block in enumerate(blocks.get("pattern", [])):
        try:
            found, told, _ = drawn_pieces([block], [], path.parent, read=read)
        except NestingError as error:
            problems[number] = error
            found, told = _without_units(block, path, read)
        twins = [key for key in found if key in drawn]
        if twins:
            label = found[twins[0]].piece.label
            problems[number] = OrderError(
                f"the piece '{label}' is in another file too, with the same size; give this file its size, or take it "
                "out of the order",
                file=block["file"],
                piece=label,
                code="piece.name-twice",
            )
        drawn |= {key: one for key, one in found.items() if key not in drawn}
        findings[number] = tuple(told)
    try:
        bands, _, _ = drawn_pieces([], [b for b in blocks.get("piece", []) if b["rectangle"] is not None], path.parent)
        drawn |= {key: one for key, one in bands.items() if key not in drawn}
    except NestingError:
        pass
    return drawn, readings, findings, problems


def _without_units(block: Block, path: Path, read: Reader) -> tuple[dict[Key, Drawn], list[Finding]]:
    """What can be shown of a file that cannot be used yet as it does not say its units."""
    file = path.parent / block["file"]
    if not file.is_file():
        return {}, []
    try:
        reading = read(file, units=block["units"], join_gap=block["join_gap"] or 0.5)
    except (NestingError, TypeError, ValueError):
        return {}, []
    pieces = [replace(p, file=block["file"], size=block["size"] or p.size) for p in reading.pieces]
    return {p.key: Drawn(p) for p in pieces}, list(reading.findings)


def _asked_one_by_one(blocks: Mapping[str, list[Block]], keys: list[Key], root: Place) -> dict[Key, Asked]:
    """What can be understood of what is asked: blocks that name what is not there are left out."""
    good: dict[str, list[Block]] = {kind: [] for kind in ("piece", "edge", "alter", "seam")}
    for kind, kept in good.items():
        for block in blocks.get(kind, []):
            trial = {**{k: [] for k in good}, kind: [*kept, block]}
            try:
                asked_of(trial, keys, root)
            except NestingError:
                continue
            kept.append(block)
    return asked_of(good, keys, root)


def _ready(
    drawn: Mapping[Key, Drawn],
    asked: Mapping[Key, Asked],
    finishes: Mapping[str, Finish],
    blocks: Mapping[str, list[Block]],
    root: Place,
) -> tuple[dict[Key, CutPiece], dict[Key, tuple[Finding, ...]], dict[Key, NestingError]]:
    cloths: list[Cloth] = []
    for block in blocks.get("cloth", []):
        try:
            cloths.append(read_cloth(block, imperial=root.units in ("in", "yd")))
        except NestingError:
            continue
    names = {cloth.name.casefold(): cloth.name for cloth in cloths}
    ready: dict[Key, CutPiece] = {}
    told: dict[Key, tuple[Finding, ...]] = {}
    problems: dict[Key, NestingError] = {}
    for key, one in drawn.items():
        wanted = asked[key]["cloth"] or names.get((one.piece.material or "").strip().casefold())
        cloth = str(wanted) if wanted else (cloths[0].name if len(cloths) == 1 else "main")
        try:
            ready[key], told[key] = ready_piece(one, asked[key], cloth, finishes)
        except NestingError as error:
            problems[key] = error
        except (ValueError, ArithmeticError) as error:  # geometry that nobody has thought of must not stop the page
            problems[key] = PatternError(
                f"this piece cannot be made ready ({error})", piece=one.piece.label, code="piece.not-usable"
            )
    return ready, told, problems
