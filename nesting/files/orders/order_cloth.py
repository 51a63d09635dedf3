"""The cloths, remnants and trims of an order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from nesting.files.orders.order_schema import Block
from nesting.files.orders.order_values import Place, listing, nearest
from nesting.model.errors import PatternError
from nesting.model.findings import Finding
from nesting.model.order import Cloth, Remnant, Trim
from nesting.model.piece import Ring
from nesting.model.units import UNIT_MM, format_length, format_width

__all__ = ["default_increment", "read_cloth", "read_remnants", "read_trim", "refuse_unknown_cloth"]

#: Trim length per length of the edge it is sewn to, where the order does not say. Practice from hobby pages, no
#: extension-service or textbook figure found: elastic 80-85 % of the edge, fold-over elastic 95-100 % where the
#: pattern is already smaller than the body. For binding and lace nothing is published: as long as the edge. Of a range
#: the upper end is taken, so that what is bought is never short.
TRIM_RATIO = {"elastic": 0.85, "fold-over elastic": 1.0, "binding": 1.0, "lace": 1.0}


def default_increment(imperial: bool) -> float:
    """What a shop cuts by, mm: 10 cm, or an eighth of a yard."""
    return UNIT_MM["yd"] / 8 if imperial else 100.0


def read_cloth(block: Block, *, imperial: bool) -> Cloth:
    """A ``[[cloth]]`` block. Raises OrderError for what can never work."""
    values = dict(block.values)
    if values["increment"] is None:
        values["increment"] = default_increment(imperial)
    if values["price"] is not None:
        values["price_unit"] = UNIT_MM["yd"] if imperial else 1000.0
    cloth = Cloth(**values)

    def shown(mm: float) -> str:
        return format_length(mm, imperial=imperial)

    if cloth.usable_width <= 0.0:
        block.at("selvage").refuse(
            f"two selvages of {shown(cloth.selvage)} leave nothing of "
            f"{format_width(cloth.width_washed, imperial=imperial)} (the width after washing); less than half the "
            "width was expected",
            code="cloth.nothing-left",
        )
    if cloth.max_plies is not None and cloth.plies > cloth.max_plies:
        block.at("plies").refuse(
            f"found {cloth.plies}, more than max_plies = {cloth.max_plies}: change one of them", code="cloth.plies"
        )
    if cloth.spreads is not None and "tubular" in cloth.spreads and not cloth.tubular:
        block.at("spreads").refuse(
            "found 'tubular', but the cloth is no tube: write tubular = true, or take it away", code="cloth.not-tubular"
        )
    if cloth.length is not None and cloth.length * (1.0 - cloth.shrink_along) <= 2.0 * cloth.end_allowance:
        block.at("length").refuse(
            f"the two end allowances of {shown(cloth.end_allowance)} leave nothing of {shown(cloth.length)}: give a "
            "longer length or a smaller end_allowance",
            code="cloth.nothing-left",
        )
    return cloth


def refuse_unknown_cloth(place: Place, name: str, cloths: Sequence[Cloth], *, piece: str | None = None) -> None:
    """Raise the OrderError for a cloth that the order does not describe."""
    names = [cloth.name for cloth in cloths]
    near = nearest(name, names)
    hint = f"did you mean '{near}'? " if near else ""
    place.refuse(
        f"there is no [[cloth]] '{name}'; {hint}there are {listing(names)}: use one of these, or add a block for it",
        piece=piece,
        code="cloth.unknown",
    )


def read_remnants(
    blocks: Sequence[Block], cloths: Sequence[Cloth], folder: Path
) -> tuple[tuple[Remnant, ...], list[Finding]]:
    """The ``[[remnant]]`` blocks. Raises OrderError or PatternError where one has no outline or an unknown cloth."""
    remnants: list[Remnant] = []
    findings: list[Finding] = []
    for block in blocks:
        if block["cloth"] not in [cloth.name for cloth in cloths]:
            refuse_unknown_cloth(block.at("cloth"), block["cloth"], cloths)
        file, width, length = block["file"], block["width"], block["length"]
        if (file is None) == (width is None and length is None):
            block.place.refuse(
                'either file = "…" or width and length were expected, and not both', code="remnant.measures"
            )
        if file is None:
            if width is None or length is None:
                block.at("width" if width is None else "length").refuse(
                    "this key is missing: a remnant has both", code="remnant.measures"
                )
            outline: Ring = ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width))
            remnants.append(Remnant(block["name"], block["cloth"], outline))
            continue
        from nesting.files.remnant import read_remnant  # only an order with drawings pays for the drawing libraries

        if not (folder / file).is_file():
            block.at("file").refuse(
                f"there is no file '{file}' in {folder}; a drawing (SVG or DXF) was expected", code="file.missing"
            )
        try:
            outline, flaws, told = read_remnant(folder / file)
        except PatternError as error:
            raise PatternError(
                error.message, file=file, piece=error.piece, key=error.key, code=error.code, figures=error.figures
            ) from None
        findings.extend(replace(f, file=file) for f in told)
        remnants.append(Remnant(block["name"], block["cloth"], outline, flaws, file))
    return tuple(remnants), findings


def read_trim(block: Block, edges: tuple[str, ...], *, imperial: bool) -> Trim:
    """A ``[[trim]]`` block on the given edges; without a ratio, that of practice, marked as not stated."""
    ratio, increment = block["ratio"], block["increment"]
    return Trim(
        name=block["name"],
        kind=block["kind"],
        edges=edges,
        ratio=TRIM_RATIO[block["kind"]] if ratio is None else ratio,
        ratio_stated=ratio is not None,
        join=block["join"],
        increment=default_increment(imperial) if increment is None else increment,
        price=block["price"],
        openings=block["openings"],
        ratios=_ratios(block, edges),
        measure=block["measure"],
        factor=block["factor"],
        stretch=block["stretch"],
        sits=block["sits"],
        passes=block["passes"],
    )


def _ratios(block: Block, edges: tuple[str, ...]) -> tuple[tuple[str, float], ...]:
    for edge, _ in block["ratios"]:
        if edge not in edges:
            block.at("ratios").at(edge).refuse(f"the trim does not go along '{edge}'; its edges are {listing(edges)}")
    return tuple(block["ratios"])
