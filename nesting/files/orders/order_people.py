"""Who garments are cut for: wearers, their own alterations, and the openings that must go on over them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from nesting.files.orders.order_joins import PieceKey, alterations, edges_of
from nesting.files.orders.order_pieces import Asked, Drawn
from nesting.files.orders.order_schema import Block
from nesting.files.orders.order_values import listing, nearest
from nesting.model.order import CutPiece, Garment, Opening, Wearer
from nesting.pieces.wishes import Alteration

__all__ = ["for_wearers", "read_openings", "read_wearers", "refuse_unknown_measures", "size_worn"]


def read_wearers(blocks: Sequence[Block]) -> tuple[Wearer, ...]:
    """The ``[[wearer]]`` blocks."""
    return tuple(Wearer(block["name"], block["measures"]) for block in blocks)


def _refuse_unknown_wearer(block: Block, wearers: Sequence[Wearer]) -> None:
    name = block["wearer"]
    known = [w.name for w in wearers]
    if name is None or name in known:
        return
    near = nearest(name, known)
    hint = f"did you mean '{near}'? " if near else ""
    there = f"there are {listing(known)}" if known else "there is none: add a [[wearer]] block with name and measures"
    block.at("wearer").refuse(f"there is no [[wearer]] '{name}'; {hint}{there}")


def size_worn(size: str | None, wearer: str) -> str:
    """What the size of a piece that is cut for a wearer is called: the pattern's and the name together."""
    return f"{size} {wearer}" if size else wearer


def for_wearers(
    blocks: Mapping[str, Sequence[Block]],
    wearers: Sequence[Wearer],
    garments: Sequence[Garment],
    drawn: Mapping[PieceKey, Drawn],
    asked: Mapping[PieceKey, Asked],
) -> tuple[tuple[Garment, ...], dict[PieceKey, Drawn], dict[PieceKey, Asked]]:
    """Garments for wearers with pieces of their own: the pattern's size with that wearer's alterations, called by size
    and wearer together, so that labels, bundles and copies carry the name. Pieces that only wearers' garments use are
    there for them alone. OrderError for an unknown wearer."""
    for block in (*blocks["garment"], *blocks["alter"]):
        _refuse_unknown_wearer(block, wearers)
    own: dict[str, dict[PieceKey, list[Alteration]]] = {}
    for wearer in wearers:
        mine = [b for b in blocks["alter"] if b["wearer"] in (None, wearer.name)]
        own[wearer.name] = alterations(mine, list(drawn))
    now: list[Garment] = []
    new_drawn, new_asked = dict(drawn), dict(asked)
    worn: set[PieceKey] = set()
    plain: set[PieceKey] = set()
    for garment, block in zip(garments, blocks["garment"], strict=True):
        keys = [_key(name, garment.size, drawn) for name in garment.pieces]
        if block["wearer"] is None:
            plain.update(keys)
            now.append(garment)
            continue
        wearer_name: str = block["wearer"]
        size = size_worn(garment.size, wearer_name)
        for name, key in zip(garment.pieces, keys, strict=True):
            worn.add(key)
            new_drawn[name, size] = replace(drawn[key], piece=replace(drawn[key].piece, size=size))
            changes = tuple(own[wearer_name].get(key, ()))
            new_asked[name, size] = replace(asked[key], alterations=changes)
        now.append(replace(garment, size=size, wearer=wearer_name))
    for key in worn - plain:
        del new_drawn[key], new_asked[key]
    return tuple(now), new_drawn, new_asked


def _key(name: str, size: str | None, drawn: Mapping[PieceKey, Drawn]) -> PieceKey:
    if (name, size) in drawn:
        return name, size
    return next(key for key in drawn if key[0] == name and (key[1] is None or size is None))


def read_openings(blocks: Sequence[Block], pieces: Sequence[CutPiece]) -> tuple[Opening, ...]:
    """The ``[[opening]]`` blocks. OrderError for an edge that is not there."""
    return tuple(
        Opening(
            block["name"],
            edges_of(block, pieces),
            block["sits"],
            block["passes"],
            block["stretch"],
            block["least"],
            block["most"],
            block["openings"],
        )
        for block in blocks
    )


def refuse_unknown_measures(blocks: Mapping[str, Sequence[Block]], wearers: Sequence[Wearer]) -> None:
    """Raise the OrderError for a measure that no wearer states."""
    known = list(dict.fromkeys(name for w in wearers for name, _ in w.measures))
    for kind, keys in (("trim", ("measure", "sits", "passes")), ("opening", ("sits", "passes"))):
        for block in blocks[kind]:
            for key in keys:
                name = block[key]
                if not isinstance(name, str) or name in known:
                    continue
                near = nearest(name, known)
                hint = f"did you mean '{near}'? " if near else ""
                there = f"they state {listing(known)}" if known else "none states any"
                block.at(key).refuse(
                    f"no [[wearer]] states a measure '{name}'; {hint}{there}: add it to measures, or write a length"
                )
