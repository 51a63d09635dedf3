"""Strokes and texts of a DXF drawing, in mm: pattern files by ASTM D6673 / ANSI/AAMA-292, and any other drawing.

A pattern file holds one block per piece and size; numbered layers tell what a line is, and texts of the form
``KEYWORD: value`` give name, size, quantity and material. Layers 1 to 15 and 80 to 83 are from secondary sources that
agree with memory; 84 to 87, the keywords and the groups of notches are from memory: the standard (withdrawn 2019) was
not at hand. In any other drawing the names of layers and blocks are read as roles and labels.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from nesting.files.drawn.context import Context
from nesting.files.drawn.flatten import CurveError
from nesting.files.drawn.sketch import Group, Stroke, Text
from nesting.files.drawn.texts import Label, keyword_of, read_label
from nesting.files.drawn.vocabulary import Role, is_made_up, read_role
from nesting.files.dxf.dxffile import first_line, is_standard, load, units_of, words_of
from nesting.files.dxf.dxfshapes import LINE_TYPES, points_of
from nesting.model.errors import NestingError
from nesting.model.piece import NotchKind, Point
from nesting.model.tolerances import LARGEST_MM

__all__ = ["read_dxf"]


_LAYERS: dict[str, tuple[Role, NotchKind | None]] = {
    "1": ("cut", None), "4": ("notch", None), "6": ("fold", None), "7": ("grain", None), "8": ("inside", None),
    "9": ("inside", None), "10": ("inside", None), "11": ("cutout", None), "13": ("drill", None), "14": ("sew", None),
    "80": ("notch", "t"), "81": ("notch", "castle"), "82": ("notch", "check"), "83": ("notch", "u"),
}  # fmt: skip
_PIECE_WORDS = ("PIECE NAME", "SIZE", "QUANTITY", "MATERIAL", "CATEGORY", "ANNOTATION")
_LEFT_OUT = {
    "2": "turn points", "3": "curve points", "5": "grade references", "12": "nothing", "15": "annotation",
    "84": "boundary validation curves", "85": "internal line validation curves", "86": "cutout validation curves",
    "87": "sew line validation curves",
}  # fmt: skip
MOST_ENTITIES = 200_000
MOST_POINTS = 1_000_000
MOST_LEVELS = 30
#: A pattern of fifty pieces in ten sizes inserts 500 blocks.
MOST_INSERTS = 5_000


@dataclass
class _Reader:
    ctx: Context
    scale: float = 1.0
    standard: bool = False
    entities: int = 0
    hidden: set[str] = field(default_factory=set)
    counts: dict[str, int] = field(default_factory=dict)


def read_dxf(data: bytes, ctx: Context, units: str | None = None) -> tuple[Group, bool]:
    """All that a DXF file draws, and whether its units are known.

    Units come from $INSUNITS, else from the UNITS text, else from ``units``; else they are taken as mm and a question
    is among the findings. $LUNITS is never read: it tells how lengths are shown, not what they are. Raises PatternError
    for a file that is damaged or cut off, and for hostile sizes.
    """
    if b"Binary DXF\r\n\x1a" in data[:32]:
        raise ctx.error(
            "this is a DXF file in binary form, which is not read: save it as an ASCII DXF file", code="file.binary-dxf"
        )
    if not re.search(rb"0\s*\r?\n\s*EOF\s*\Z", data[-64:].rstrip(b"\0 \t\r\n\x1a")):
        raise ctx.error(
            "the DXF file is cut off: it has no end mark (EOF). Copy or export it again", code="file.cut-off"
        )
    document = load(data, ctx)
    try:
        return _read_document(document, ctx, units)
    except NestingError:
        raise
    except Exception as error:
        # The library trusts what its audit let pass, and fails in many ways on entities that lack a part.
        raise ctx.error(
            f"the DXF file is damaged: an entity cannot be read ({first_line(error)}); export it again from your "
            "program",
            code="file.damaged",
        ) from None


def _read_document(document: Any, ctx: Context, units: str | None) -> tuple[Group, bool]:
    space = document.modelspace()
    blocks = [b for b in document.blocks if not b.name.startswith("*")]
    reader = _Reader(ctx)
    texts = [t for e in space if (t := words_of(e))]
    reader.standard = is_standard(space, blocks, texts, {*_LAYERS, *_LEFT_OUT})
    reader.scale, known = units_of(document, texts, ctx, units)
    for layer in document.layers:
        if (layer.is_off() or layer.is_frozen()) and not (reader.standard and layer.dxf.name in _LAYERS):
            reader.hidden.add(layer.dxf.name.lower())
    root = Group()
    _entities(reader, space, root, 0, ())
    inserted = {e.dxf.name.lower() for e in _inserts(space)}
    if not any(chain[-1].strokes for chain in root.walk()) or (
        reader.standard and not any(s.role == "cut" for chain in root.walk() for s in chain[-1].strokes)
    ):
        spare = [b for b in blocks if b.name.lower() not in inserted and len(b)]
        nested = {e.dxf.name.lower() for b in spare for e in _inserts(b)}
        for block in spare:
            if block.name.lower() not in nested:
                group = Group(block.name)
                root.groups.append(group)
                _entities(reader, block, group, 1, (block.name.lower(),))
                _understand(group, block.name, reader)
        if spare:
            ctx.note(
                "note", "the drawing itself is empty; its pieces are read from its blocks", code="dxf.pieces-in-blocks"
            )
    if reader.standard:
        _sample_size(root, texts, ctx)
        for group in root.groups:
            group.texts[:] = [t for t in group.texts if keyword_of(t.text) is None]
        # In a drawing without blocks the pieces' own texts stand beside those of the style.
        root.texts[:] = [t for t in root.texts if not _is_of_style(t.text)]
    for layer, count in sorted(reader.counts.items()):
        ctx.note(
            "note",
            f"layer {layer} ({_LEFT_OUT[layer]}) is not needed: {count} entities left out",
            code="dxf.layer-not-needed",
        )
    if len(document.layout_names()) > 1 and any(len(document.layout(n)) > 1 for n in document.layout_names()[1:]):
        ctx.note("ignored", "what is drawn in paper space is left out", code="dxf.paper-space")
    return root, known


def _is_of_style(words: str) -> bool:
    found = keyword_of(words)
    return found is not None and found[0] not in _PIECE_WORDS


def _inserts(layout: Iterable[Any]) -> list[Any]:
    return [e for e in layout if e.dxftype() == "INSERT"]


def _entities(reader: _Reader, layout: Iterable[Any], group: Group, level: int, inside: tuple[str, ...]) -> None:
    layers: dict[str, Group] = {}
    for entity in layout:
        reader.entities += 1
        if reader.entities > MOST_ENTITIES:
            raise reader.ctx.error(
                f"the drawing has more than {MOST_ENTITIES} entities; save only the pattern pieces",
                code="drawing.too-large",
            )
        kind = entity.dxftype()
        layer = str(entity.dxf.get("layer", "0"))
        if layer.lower() in reader.hidden or entity.dxf.get("invisible", 0):
            reader.ctx.note(
                "ignored", f"layer '{layer}' is switched off in the drawing; left out", code="drawing.switched-off"
            )
            continue
        if kind == "INSERT":
            _insert(reader, entity, group, level, inside)
        elif kind in ("TEXT", "MTEXT", "ATTRIB"):
            words = words_of(entity)
            if words:
                at = entity.dxf.insert
                text = Text(words, (float(at[0]) * reader.scale, float(at[1]) * reader.scale))
                _home(reader, group, layer, layers, level).texts.append(text)
        elif kind in LINE_TYPES:
            _line(reader, entity, kind, layer, _home(reader, group, layer, layers, level))
        elif kind not in ("ATTDEF", "SEQEND", "VIEWPORT"):
            reader.ctx.note(
                "ignored", f"{kind} entities are no lines of a pattern and are left out", code="dxf.entity-left-out"
            )


def _home(reader: _Reader, group: Group, layer: str, layers: dict[str, Group], level: int) -> Group:
    """The group for what stands on a layer: in a drawing without the standard's layers, each layer that carries a name
    and not a role is a group of its own, as in SVG; but within a block its layers belong together."""
    if reader.standard or level > 0 or layer == "0" or is_made_up(layer) or read_role(layer) is not None:
        return group
    if layer not in layers:
        layers[layer] = Group(layer, read_label(layer))
        group.groups.append(layers[layer])
    return layers[layer]


def _insert(reader: _Reader, entity: Any, group: Group, level: int, inside: tuple[str, ...]) -> None:
    name = str(entity.dxf.name)
    if name.lower() in inside or level >= MOST_LEVELS:
        raise reader.ctx.error(
            f"block '{name}' contains itself, or blocks are nested too deep: remove that block",
            code="dxf.block-in-itself",
        )
    if entity.block() is None:
        reader.ctx.note("ignored", f"block '{name}' is used but not in the file; left out", code="dxf.block-missing")
        return
    copies = [entity]
    if entity.mcount > 1:
        if entity.mcount > 1000:
            raise reader.ctx.error(
                f"block '{name}' is repeated {entity.mcount} times; that is no pattern", code="dxf.block-repeated"
            )
        copies = list(entity.multi_insert())
    ctx = reader.ctx
    for copy in copies:
        ctx.spend("inserts", 1, MOST_INSERTS, "inserted blocks")
        below = Group(name)
        group.groups.append(below)

        def skipped(lost: Any, reason: str) -> None:
            reader.ctx.note(
                "ignored",
                f"{lost.dxftype()} in block '{name}' could not be placed ({reason}); left out",
                code="dxf.entity-lost",
            )

        _entities(
            reader, copy.virtual_entities(skipped_entity_callback=skipped), below, level + 1, (*inside, name.lower())
        )
        for attribute in copy.attribs:
            words = words_of(attribute)
            if words:
                at = attribute.dxf.insert
                tag = str(attribute.dxf.tag).replace("_", " ")
                line = f"{tag}: {words}"
                text = line if keyword_of(line) else words
                below.texts.append(Text(text, (float(at[0]) * reader.scale, float(at[1]) * reader.scale)))
        _understand(below, name, reader)


def _understand(group: Group, block: str, reader: _Reader) -> None:
    """The label of a block from its system text, else from its name."""
    label = Label()
    for text in group.texts:
        for line in text.text.split("\n"):
            found = keyword_of(line)
            if found is None:
                continue
            keyword, value = found
            label = label.over(read_label(line))
            if keyword in ("CATEGORY", "ANNOTATION") and value:
                group.extra.append((keyword.lower(), value))
            if keyword == "QUANTITY" and value:
                group.extra.append(("quantity", value))
                if label.cut is None:
                    reader.ctx.note(
                        "question",
                        f"QUANTITY '{value}' of block '{block}' cannot be told as one count; say cut and mirrored "
                        "in the order",
                        code="dxf.quantity",
                    )
    if not is_made_up(block) and not block.startswith("*"):
        if label.name is None:
            from_name = read_label(block)
            label = label.over(from_name) if read_role(block) is None else label
        elif label.size is None:
            rest = re.fullmatch(re.escape(label.name) + r"[\s_.-]+(\S+)", block, re.I)
            if rest:
                label = replace(label, size=rest[1])
    if label.name is None and reader.standard:
        # every block is a piece, even one that only a number names
        label = replace(label, name=block)
    group.label = label


def _sample_size(root: Group, texts: list[str], ctx: Context) -> None:
    """Blocks that give no size are of the sample size, where each name stands only once."""
    sample = next(
        (f[1] for t in texts for line in t.split("\n") if (f := keyword_of(line)) and f[0] == "SAMPLE SIZE" and f[1]),
        None,
    )
    names = [g.label.name for g in root.groups]
    for group in root.groups:
        if sample and group.label.size is None and group.label.name and names.count(group.label.name) == 1:
            group.label = replace(group.label, size=sample)
            ctx.note(
                "note",
                f"no size is given; it is taken to be the sample size, {sample}",
                group.label.name,
                code="size.sample",
            )


def _line(reader: _Reader, entity: Any, kind: str, layer: str, group: Group) -> None:
    ctx, scale = reader.ctx, reader.scale
    if reader.standard and layer in _LEFT_OUT:
        reader.counts[layer] = reader.counts.get(layer, 0) + 1
        return
    where = f"{kind} on layer {layer}"
    role: Role | None = None
    name: str | None = None
    notch: NotchKind | None = None
    if reader.standard:
        role, notch = _LAYERS.get(layer, (None, None))
    else:
        found = read_role(layer)
        if found:
            role, name, notch = found
    if kind == "POINT" and role not in ("notch", "drill"):
        ctx.note("ignored", f"points on layer '{layer}' are left out", code="dxf.points-left-out")
        return
    try:
        raw, closed, diameter = points_of(entity, ctx.chord / scale)
    except CurveError as error:
        raise ctx.error(f"{where} cannot be read: {error}", code="drawing.curve") from None
    points: list[Point] = [(x * scale, y * scale) for x, y in raw]
    for x, y in points:
        if not (math.isfinite(x) and math.isfinite(y)):
            raise ctx.error(
                f"{where} has a coordinate that is no finite number: correct or remove it", code="drawing.not-finite"
            )
        if abs(x) > LARGEST_MM or abs(y) > LARGEST_MM:
            raise ctx.error(
                f"{where} reaches ({x:.4g}, {y:.4g}) mm; drawings up to {LARGEST_MM / 1000:g} m are read. Check the "
                "drawing's units",
                code="drawing.too-far",
            )
    ctx.spend("points", len(points), MOST_POINTS, "points")
    if not points:
        return
    if not closed and len(points) > 3 and math.dist(points[0], points[-1]) <= 1e-6:
        points, closed = points[:-1], True
    depth = angle = None
    if kind == "POINT" and role == "notch":
        # Groups of a notch, from memory and doubtful: 30 its depth, 39 its width, 50 its angle.
        depth = abs(float(entity.dxf.location[2])) * scale or None
        if depth is not None and not depth <= 25.0:
            depth = None
        turned = float(entity.dxf.get("angle", 0.0))
        angle = turned if turned and math.isfinite(turned) else None
        if notch is None and float(entity.dxf.get("thickness", 0.0)) > 0:
            notch = "v"
    group.strokes.append(
        Stroke(
            tuple(points),
            closed,
            role,
            name,
            notch=notch,
            depth=depth,
            angle=angle,
            round=diameter * scale if diameter else None,
            element=reader.entities,
            where=where,
        )
    )
