"""Write the odd drawings of fixtures/odd and the list of what must come of each.

    python scripts/make_odd_files.py

Nearly all show the same piece in some unusual way: 120 × 160 mm, a quarter circle of radius 40 cut out of one corner,
so that its area is 120·160 − π·40²/4 mm²; a grainline of 100 mm; one notch in the middle of the straight side. What is
expected is computed here by closed forms and written to ``expected.toml``; the tests read it from there. Files are
small and the same every time.
"""
# Drawings stay on one line each:
# ruff: noqa: E501

from __future__ import annotations

import io
import math
import os
import random
import sys
from collections.abc import Iterable, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import ezdxf
import tomli_w

FOLDER = Path(__file__).resolve().parent.parent / "fixtures" / "odd"
AREA = 120 * 160 - math.pi * 40**2 / 4
#: The outline as path data, in mm, page frame.
OUTLINE = "M0 0H120V120A40 40 0 0 0 80 160H0Z"
GRAIN = '<line class="grain" x1="40" y1="130" x2="40" y2="30"/>'
NOTCH = '<line class="notch" x1="0" y1="80" x2="6" y2="80"/>'
MARKS = GRAIN + NOTCH
#: The same in a DXF drawing, y up: bulge −tan(90°/4) for the quarter circle, which turns clockwise.
BULGE = -math.tan(math.radians(90) / 4)
CORNERS = [(0.0, 160.0), (0.0, 0.0), (80.0, 0.0), (120.0, 40.0), (120.0, 160.0)]


class Odd:
    """Collects files and what is expected of them."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}
        self.expected: dict[str, dict[str, Any]] = {}

    def read(self, name: str, content: str | bytes, what: str, *, encoding: str = "utf-8", **expected: Any) -> None:
        """A file that is read; by default one piece "front" of AREA with its grainline and notch, no question."""
        self.files[name] = content if isinstance(content, bytes) else content.encode(encoding)
        pieces = expected.pop("pieces", [{}])
        filled = [{"name": "front", "area": AREA, "notches": 1, "grain": 100.0} | piece for piece in pieces]
        self.expected[name] = {"what": what, "pieces": filled, "findings": expected.pop("findings", [])} | expected

    def refuse(self, name: str, content: str | bytes, what: str, words: str) -> None:
        """A file that is refused with an error that holds these words."""
        self.files[name] = content if isinstance(content, bytes) else content.encode()
        self.expected[name] = {"what": what, "refused": words}


def svg(body: str, head: str = 'width="200mm" height="200mm" viewBox="0 0 200 200"', first: str = "") -> str:
    """An SVG drawing whose unit is 1 mm unless ``head`` says otherwise."""
    return f'{first}<svg xmlns="http://www.w3.org/2000/svg" {head}>\n{body}\n</svg>\n'


def front(inner: str = MARKS, d: str = OUTLINE) -> str:
    """The piece as a group."""
    return f'<g id="front"><path class="cut" d="{d}"/>{inner}</g>'


def groups(pairs: Iterable[tuple[int, Any]]) -> str:
    """DXF tags as text."""
    return "".join(f"{code:3d}\n{value}\n" for code, value in pairs)


def dxf(
    entities: list[tuple[int, Any]],
    blocks: dict[str, list[tuple[int, Any]]] | None = None,
    header: Sequence[tuple[str, int, Any]] = (("$INSUNITS", 70, 4),),
    version: str = "AC1009",
) -> str:
    """A minimal DXF file as small programs write it: header, blocks, entities."""
    tags: list[tuple[int, Any]] = [(0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, version)]
    for name, code, value in header:
        tags += [(9, name), (code, value)]
    tags += [(0, "ENDSEC"), (0, "SECTION"), (2, "BLOCKS")]
    for name, content in (blocks or {}).items():
        tags += [(0, "BLOCK"), (8, "0"), (2, name), (70, 0), (10, 0.0), (20, 0.0), (30, 0.0), (3, name), *content]
        tags += [(0, "ENDBLK"), (8, "0")]
    tags += [(0, "ENDSEC"), (0, "SECTION"), (2, "ENTITIES"), *entities, (0, "ENDSEC"), (0, "EOF")]
    return groups(tags)


def polyline(
    layer: str, points: Sequence[tuple[float, ...]], closed: bool = True, k: float = 1.0
) -> list[tuple[int, Any]]:
    """A POLYLINE; points may carry a bulge as their third value."""
    tags: list[tuple[int, Any]] = [(0, "POLYLINE"), (8, layer), (66, 1), (70, 1 if closed else 0)]
    for p in points:
        tags += [(0, "VERTEX"), (8, layer), (10, p[0] * k), (20, p[1] * k)] + ([(42, p[2])] if len(p) > 2 else [])
    return [*tags, (0, "SEQEND"), (8, layer)]


def line(layer: str, a: tuple[float, float], b: tuple[float, float], k: float = 1.0) -> list[tuple[int, Any]]:
    """A LINE."""
    return [(0, "LINE"), (8, layer), (10, a[0] * k), (20, a[1] * k), (11, b[0] * k), (21, b[1] * k)]


def text(layer: str, words: str, y: float = 10.0) -> list[tuple[int, Any]]:
    """A TEXT."""
    return [(0, "TEXT"), (8, layer), (10, 20.0), (20, y), (40, 5.0), (1, words)]


def insert(name: str, x: float = 0.0, y: float = 0.0, **more: float) -> list[tuple[int, Any]]:
    """An INSERT; sx, sy scale, turn rotates, z the direction of extrusion."""
    codes = {"sx": 41, "sy": 42, "turn": 50, "z": 230}
    return [(0, "INSERT"), (8, "0"), (2, name), (10, x), (20, y), *((codes[key], value) for key, value in more.items())]


def boundary(k: float = 1.0, layer: str = "1") -> list[tuple[int, Any]]:
    """The piece's outline as one POLYLINE."""
    points: list[tuple[float, ...]] = [(*p, BULGE) if p == (80.0, 0.0) else p for p in CORNERS]
    return polyline(layer, points, k=k)


def block(name: str = "front", k: float = 1.0, extra: Sequence[tuple[int, Any]] = ()) -> list[tuple[int, Any]]:
    """The piece as the pattern standard has it: boundary, grainline, notch, name."""
    tags = boundary(k) + line("7", (40, 30), (40, 130), k) + [(0, "POINT"), (8, "4"), (10, 0.0), (20, 80.0 * k)]
    return tags + (text("1", f"PIECE NAME: {name}") if name else []) + list(extra)


def segments(gap: float = 0.0) -> list[str]:
    """The outline as path data of its five parts, some drawn backwards, with a gap after the first."""
    return [f"M{gap} 0H120", "M120 120V0", "M120 120A40 40 0 0 0 80 160", "M0 160H80", "M0 160V0"]


def svg_files(odd: Odd) -> None:
    """Units, frames, transforms, structure, encodings."""
    odd.read("plain.svg", svg(front()), "nothing odd")
    odd.read("inches.svg", svg(front(), 'width="8in" height="8in" viewBox="0 0 203.2 203.2"'), "size in inches")
    odd.read("points.svg", svg(f'<g transform="scale({72 / 25.4})">{front()}</g>', 'width="600pt" height="600pt" viewBox="0 0 600 600"'),
             "PostScript points")  # fmt: skip
    px = f'<g transform="scale({96 / 25.4})">{front()}</g>'
    odd.read("no-size.svg", svg(px, ""), "no width, height or view box", findings=["96 px = 1 in"])
    odd.read("pixels.svg", svg(px, 'width="800" height="800"'), "size in pixels", findings=["96 px = 1 in"])
    odd.read("percent.svg", svg(px, 'width="100%" height="100%" viewBox="0 0 800 800"'), "size in per cent",
             findings=["96 px = 1 in"])  # fmt: skip
    odd.read(
        "view-box-elsewhere.svg",
        svg(front(), 'width="200mm" height="200mm" viewBox="-50 -30 200 200"'),
        "view box off 0",
    )
    odd.read("view-box-times-ten.svg", svg(f'<g transform="scale(10)">{front()}</g>', 'width="20cm" height="20cm" viewBox="0 0 2000 2000"'),
             "a tenth of a millimetre as unit")  # fmt: skip
    odd.read("stretched.svg", svg(front(), 'width="400mm" height="200mm" viewBox="0 0 200 200" preserveAspectRatio="none"'),
             "stretched to twice its width", pieces=[{"area": 2 * AREA}], findings=["stretched"])  # fmt: skip
    odd.read("letterbox.svg", svg(front(), 'width="400mm" height="200mm" viewBox="0 0 200 200"'), "page wider than the view box",
             findings=["disagree"])  # fmt: skip
    odd.read("transforms.svg", svg(f'<g transform="translate(30 10)"><g transform="rotate(33 60 80)"><g transform="scale(.5)">'
             f'<g transform="matrix(2 0 0 2 9 9)">{front()}</g></g></g></g>'), "transforms within transforms")  # fmt: skip
    odd.read("mirrored.svg", svg(f'<g transform="translate(150) scale(-1 1)">{front()}</g>'), "mirrored by a transform")
    odd.read(
        "sheared-back.svg",
        svg(f'<g transform="skewX(30)"><g transform="skewX(-30)">{front()}</g></g>'),
        "sheared there and back",
    )
    odd.read("use.svg", svg(f'<defs><path id="p" d="{OUTLINE}"/></defs><g id="front"><use href="#p" class="cut"/>{MARKS}</g>'),
             "outline shown by use")  # fmt: skip
    odd.read("symbol.svg", svg(f'<symbol id="s" viewBox="0 0 100 100">{front()}</symbol><use href="#s" width="100" height="100"/>'),
             "symbol with a view box")  # fmt: skip
    odd.read("nested-drawing.svg", svg(f'<svg x="20" width="100" height="100" viewBox="0 0 200 200"><g transform="scale(2)">{front()}</g></svg>'),
             "a drawing in a drawing")  # fmt: skip
    odd.read("backwards.svg", svg(front(d="M0 0V160H80A40 40 0 0 1 120 120V0Z")), "drawn the other way round")
    odd.read("doubled-points.svg", svg(front(d="M0 0H120H120V120V120V120A40 40 0 0 0 80 160L80 160H0L0 160L0 0Z")), "points given twice",
             findings=["doubled point"])  # fmt: skip
    odd.read("in-parts.svg", svg(front("".join(f'<path class="cut" d="{d}"/>' for d in segments()[1:]) + MARKS, segments()[0])),
             "outline in five parts, some backwards")  # fmt: skip
    odd.read("gap.svg", svg(front("".join(f'<path class="cut" d="{d}"/>' for d in segments()[1:]) + MARKS, segments(0.35)[0])),
             "a gap of 0.35 mm", findings=["gap of 0.35 mm"])  # fmt: skip
    odd.read("doubled-outline.svg", svg(front(f'<path class="cut" d="{OUTLINE}"/>{MARKS}')), "outline drawn twice",
             findings=["drawn twice"])  # fmt: skip
    odd.read("doubled-part.svg", svg(front("".join(f'<path class="cut" d="{d}"/>' for d in [*segments()[1:], "M0 0V160"]) + MARKS, segments()[0])),
             "one part drawn twice", findings=["drawn twice"])  # fmt: skip
    odd.read("round-twice.svg", svg(front(d=OUTLINE[:-1] + OUTLINE.replace("M0 0", "V0"))), "outline goes round twice",
             findings=["twice"])  # fmt: skip
    odd.read(
        "spike.svg", svg(front(d=OUTLINE.replace("H120", "H60V-30V0H120"))), "a spike of no width", findings=["spike"]
    )
    rng = random.Random(7)
    points = [(0.0, 0.0), (120.0, 0.0), (120.0, 120.0)]
    points += [(120 - 40 * math.sin(a), 160 - 40 * math.cos(a)) for a in (math.pi / 2 * k / 60 for k in range(1, 61))]
    points += [(0.0, 160.0)]
    bits = [
        f"M{a[0]:.3f} {a[1]:.3f}L{b[0]:.3f} {b[1]:.3f}" for a, b in zip(points, [*points[1:], points[0]], strict=True)
    ]
    rng.shuffle(bits)
    odd.read("sixty-bits.svg", svg('<g id="front">' + "".join(f'<path class="cut" d="{d}"/>' for d in bits) + MARKS + "</g>"),
             "every chord a path of its own, shuffled")  # fmt: skip
    bare = "".join(f'<path d="{d}"/>' for d in segments())
    for count, extra in (
        (1, ["M0 70H120"]),
        (2, ["M0 70H120", "M60 0V160"]),
        (3, ["M0 0L80 160", "M0 70H120", "M60 0V160"]),
    ):
        loose = "".join(f'<path d="{d}"/>' for d in extra)
        odd.read(f"loose-lines-{count}.svg", svg(f'<g id="front">{bare}{loose}{MARKS}</g>'),
                 f"no roles, {count} lines from edge to edge")  # fmt: skip
    odd.read("overshoot.svg", svg('<g id="front"><path d="M-7 0H125"/><path d="M120 -5V120"/><path d="M120 120A40 40 0 0 0 80 160"/>'
             f'<path d="M80 160H-4"/><path d="M0 166V-3"/>{MARKS}</g>'), "lines run past their corners", findings=["past their corners"])  # fmt: skip
    layer = 'xmlns:e="urn:example:editor" e:groupmode="layer" e:label'
    odd.read("editor-layers.svg", svg(f'<g {layer}="front"><g {layer}="Cut line"><path d="{OUTLINE}"/></g><g {layer}="Grain"><path d="M40 130V30"/></g>'
             f'<g {layer}="Notches"><path d="M0 80h6"/></g></g>'), "layers with labels")  # fmt: skip
    odd.read("role-layers.svg", svg(f'<g id="cut"><path id="front" d="{OUTLINE}"/></g><g id="grain"><path d="M40 130V30"/></g>'
             '<g id="notches"><path d="M0 80h6"/></g>'), "one layer per role")  # fmt: skip
    odd.read(
        "no-names.svg",
        svg(f'<path class="cut" d="{OUTLINE}"/>{MARKS}'),
        "no names at all",
        pieces=[{"name": "piece 1"}],
    )
    odd.read("hidden.svg", svg(f'<style>.old {{display:none}}</style>{front()}<g class="old"><rect width="50" height="50"/></g>'),
             "a layer switched off", findings=["switched off"])  # fmt: skip
    odd.read("clipped.svg", svg(f'<clipPath id="c"><rect width="50" height="50"/></clipPath><g clip-path="url(#c)">{front()}</g>'),
             "clipped on the screen", findings=["clipping"])  # fmt: skip
    odd.read(
        "page-frame.svg",
        svg(f'<rect width="200" height="200"/>{front()}'),
        "a frame around the page",
        findings=["frame"],
    )
    odd.read("wrong-scale.svg", svg(f'{front()}<rect class="test-square" x="140" y="10" width="52" height="52"/><text x="142" y="40">test square 5 cm'
             "</text>"), "test square 4 % too large", findings=["test square"])  # fmt: skip
    odd.read("utf-16.svg", svg(front().replace('id="front"', 'data-name="Vorderstück ½"'), first='<?xml version="1.0" encoding="UTF-16"?>'),
             "UTF-16", encoding="utf-16", pieces=[{"name": "Vorderstück ½"}])  # fmt: skip
    odd.read("latin-1.svg", svg(front().replace('id="front"', 'data-name="Vorderstück"'), first='<?xml version="1.0" encoding="ISO-8859-1"?>'),
             "Latin 1", encoding="latin-1", pieces=[{"name": "Vorderstück"}])  # fmt: skip
    odd.read("byte-order-mark.svg", svg(front()), "byte order mark before the XML", encoding="utf-8-sig")
    odd.read(
        "compact-path.svg",
        svg(front(d="M0,0h120v120a40,40,0,00-40,40h-80z")),
        "path data without blanks, flags run together",
    )
    odd.read("prefixed.svg", '<s:svg xmlns:s="http://www.w3.org/2000/svg" width="200mm" height="200mm" viewBox="0 0 200 200"><s:g id="front">'
             f'<s:path class="cut" d="{OUTLINE}"/>{MARKS.replace("<line", "<s:line")}</s:g></s:svg>', "a prefix before every element")  # fmt: skip
    odd.read("no-namespace.svg", svg(front()).replace(' xmlns="http://www.w3.org/2000/svg"', ""), "no namespace")
    odd.read("comments.svg", svg(f"<!-- <path d='M0 0H9V9Z'/> --><?tool data?><![CDATA[x]]><desc>a &lt;b&gt;</desc>{front()}",
             first="<!-- made for a test -->"), "comments, instructions, character data")  # fmt: skip
    odd.read("entities-of-letters.svg", svg(front().replace('id="front"', 'data-name="A &amp; B&#xBD;"')), "letters as references",
             pieces=[{"name": "A & B½"}])  # fmt: skip
    odd.read("half-open-at-fold.svg", svg('<g id="front"><path class="cut" d="M0 0H120V120A40 40 0 0 0 80 160H0"/><path class="fold" d="M0 160V0"/>'
             f"{GRAIN}</g>"), "half left open along its fold", pieces=[{"notches": 0, "fold": 160.0}])  # fmt: skip
    odd.read("bent-arrow.svg", svg(front(f'<path class="fold" d="M0 30H12V130H0"/>{GRAIN}')), "bent arrow for the fold",
             pieces=[{"notches": 0, "fold": 160.0}])  # fmt: skip
    sizes = "".join(
        f'<g id="{s}"><path class="cut" transform="scale({k})" d="{OUTLINE}"/></g>'
        for s, k in (("S", 0.9), ("M", 1), ("L", 1.1))
    )
    odd.read("sizes.svg", svg(f'<g id="front">{sizes}{GRAIN}</g>'), "three sizes on one another, one grainline",
             pieces=[{"size": s, "area": AREA * k * k, "notches": 0} for s, k in (("S", 0.9), ("M", 1.0), ("L", 1.1))])  # fmt: skip
    odd.read("label.svg", svg(front().replace(' id="front"', "") + '<text x="20" y="60">Front — size M — cut 2 mirrored — main</text>'),
             "everything in the label", pieces=[{"name": "Front", "size": "M", "cut": 2, "mirrored": True, "material": "main"}])  # fmt: skip


def svg_refused(odd: Odd) -> None:
    """SVG files that must be refused."""
    odd.refuse("open.svg", svg(front(d="M0 0H120V120A40 40 0 0 0 80 160H2")), "outline open", "open")
    odd.refuse(
        "wide-gap.svg",
        svg(front(d="M0.8 0H120V120A40 40 0 0 0 80 160H0V0")),
        "gap wider than is closed",
        "0.80 mm apart",
    )
    odd.refuse("self-crossing.svg", svg(front(d="M0 0L120 160V0L0 160Z")), "outline crosses itself", "(60.00, 120.00)")
    odd.refuse("no-area.svg", svg(front(d="M0 0L60 80L120 160Z")), "outline without area", "encloses")
    odd.refuse("not-a-number.svg", svg(front(d="M0 0HnanV160Z")), "coordinate that is no number", "finite")
    odd.refuse("huge.svg", svg(front(d="M0 0H1e9V160Z")), "coordinate of 1e9 mm", "100 m")
    odd.refuse("overflow.svg", svg(front(d="M0 0H1e999V160Z")), "coordinate beyond all numbers", "finite")
    odd.refuse("letter.svg", "Dear wardrobe, please find the pattern enclosed.\n", "a letter", "not an SVG")
    odd.refuse("picture.svg", b"\x89PNG\r\n\x1a\n" + bytes(range(200)), "a picture under a wrong name", "not an SVG")
    bomb = "".join(f'<!ENTITY a{k} "{f"&a{k - 1};" * 10 if k else "ha"}">' for k in range(10))
    odd.refuse(
        "entity-bomb.svg",
        svg(front("<text>&a9;</text>"), first=f"<!DOCTYPE svg [{bomb}]>"),
        "entities that explode",
        "entities",
    )
    outside = '<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
    odd.refuse(
        "outside-entity.svg", svg(front("<text>&a;</text>"), first=outside), "entity from another file", "entities"
    )
    odd.refuse(
        "use-of-itself.svg", svg('<g id="front"><use href="#front"/></g>'), "use that shows itself", "shows itself"
    )
    odd.refuse("cut-off.svg", svg(front())[:150], "file cut off", "no sound XML")
    odd.refuse("empty.svg", b"", "empty file", "empty")
    odd.refuse("marks-only.svg", svg(MARKS), "marks without an outline", "no closed outline")
    odd.refuse(
        "crooked-fold.svg",
        svg(front('<path class="fold" d="M0 0L30 160"/>')),
        "fold line on no side",
        "no straight side",
    )


def dxf_files(odd: Odd) -> None:
    """DXF files by the pattern standard and others."""
    place = insert("front")
    odd.read("standard.dxf", dxf(place, {"front": block()}), "nothing odd")
    odd.read("inches.dxf", dxf(place, {"front": block(k=1 / 25.4)}, [("$INSUNITS", 70, 1)]), "header says inches")
    odd.read(
        "units-text.dxf",
        dxf(place + text("1", "UNITS: ENGLISH"), {"front": block(k=1 / 25.4)}, []),
        "unit in a text only",
    )
    odd.read("display-units.dxf", dxf(place + text("1", "UNITS: METRIC"), {"front": block()}, [("$LUNITS", 70, 4)]),
             "display format of feet and inches, text says metric")  # fmt: skip
    odd.read("no-units.dxf", dxf(place, {"front": block()}, [("$LUNITS", 70, 3)]), "no unit anywhere", findings=["does not say its units"],
             units_known=False)  # fmt: skip
    odd.read("block-in-block.dxf", dxf(insert("sheet", 50, 50, turn=90.0), {"front": block(), "sheet": insert("front", 10, 10, turn=-30.0)}),
             "blocks within blocks, turned")  # fmt: skip
    odd.read("mirrored-block.dxf", dxf(insert("front", sx=-1.0, sy=1.0), {"front": block()}), "block mirrored")
    odd.read("extruded-block.dxf", dxf(insert("front", z=-1.0), {"front": block()}), "block seen from behind")
    odd.read("stretched-block.dxf", dxf(insert("front", sx=2.0, sy=1.0), {"front": block()}), "block stretched to twice its width",
             pieces=[{"area": 2 * AREA}])  # fmt: skip
    odd.read(
        "never-inserted.dxf", dxf([], {"front": block()}), "blocks but no insert", findings=["read from its blocks"]
    )
    odd.read("no-name.dxf", dxf(insert("B1"), {"B1": block("")}), "no texts, block name only", pieces=[{"name": "B1"}])
    odd.read("no-name-no-block.dxf", dxf(block("")), "no texts and no block", pieces=[{"name": "piece 1"}])
    odd.read("text-in-model.dxf", dxf(block("front")), "no block, name as a text")
    nested = {
        f"front-{s}": block("front", k, text("1", f"SIZE: {s}", 20)) for s, k in (("36", 0.9), ("38", 1.0), ("40", 1.1))
    }
    odd.read("nested-sizes.dxf", dxf([tag for name in nested for tag in insert(name)], nested), "one block per size",
             pieces=[{"size": s, "area": AREA * k * k, "grain": 100 * k} for s, k in (("36", 0.9), ("38", 1.0), ("40", 1.1))])  # fmt: skip
    odd.read("quantity.dxf", dxf(place, {"front": block(extra=text("1", "QUANTITY: 1,1", 20) + text("1", "MATERIAL: MAIN", 30))}), "pair by quantity",
             pieces=[{"cut": 2, "mirrored": True, "material": "MAIN"}])  # fmt: skip
    odd.read("closing-point-again.dxf", dxf(place, {"front": polyline("1", [*CORNERS[:2], (80, 0, BULGE), *CORNERS[3:], CORNERS[0]])
             + block()[len(boundary()):]}), "first point given again at the end")  # fmt: skip
    twice = [p for p in CORNERS[:2] for _ in (0, 1)] + [(80, 0, BULGE), *CORNERS[3:]]
    odd.read("doubled-points.dxf", dxf(place, {"front": polyline("1", twice) + block()[len(boundary()) :]}), "points given twice",
             findings=["doubled point"])  # fmt: skip
    rest = block()[len(boundary()) :]
    lines = (
        line("1", (0.3, 0), (80, 0))
        + line("1", (120, 160), (120, 40))
        + line("1", (0, 160), (120, 160))
        + line("1", (0, 160), (0, 0))
    )
    arc = [(0, "ARC"), (8, "1"), (10, 120.0), (20, 0.0), (40, 40.0), (50, 90.0), (51, 180.0)]
    odd.read(
        "lines-and-arc.dxf",
        dxf(place, {"front": lines + arc + rest}),
        "lines and an arc, one gap",
        findings=["gap of 0.30 mm"],
    )
    odd.read("loose-lines.dxf", dxf(line("0", (0, 80), (120, 80)) + line("0", (60, 0), (60, 160)) + [
             tag if tag != (8, "1") else (8, "0") for tag in lines + arc]), "no layers, two lines from edge to edge",
             pieces=[{"name": "piece 1", "notches": 0, "grain": 0.0}], findings=["gap of 0.30 mm"])  # fmt: skip
    odd.read(
        "doubled-boundary.dxf",
        dxf(place, {"front": boundary() + block()}),
        "boundary drawn twice",
        findings=["drawn twice"],
    )
    odd.read("mirror-line.dxf", dxf(place, {"front": block(extra=line("6", (120, 160), (120, 40)))}), "half with its mirror line",
             pieces=[{"fold": 120.0}])  # fmt: skip
    whole = (
        polyline("1", [(-60, 0), (60, 0), (50, 90), (-50, 90)])
        + line("6", (0, 0), (0, 90))
        + text("1", "PIECE NAME: back")
    )
    odd.read("whole-with-mirror-line.dxf", dxf(insert("back"), {"back": whole}), "whole piece with its line of symmetry",
             pieces=[{"name": "back", "area": 9900.0, "notches": 0, "grain": 0.0}], findings=["whole piece"])  # fmt: skip
    named = dxf(insert("B1"), {"B1": block("Vorderstück")}, [("$DWGCODEPAGE", 3, "ANSI_1252"), ("$INSUNITS", 70, 4)])
    odd.read("code-page.dxf", named, "Windows code page", encoding="cp1252", pieces=[{"name": "Vorderstück"}])
    odd.read(
        "unicode-escapes.dxf", named.replace("ü", "\\U+00FC"), "letters as escapes", pieces=[{"name": "Vorderstück"}]
    )
    odd.read("windows-line-ends.dxf", dxf(place, {"front": block()}).replace("\n", "\r\n"), "line ends of Windows")
    odd.read(
        "comments.dxf", "999\nmade for a test\n" + dxf(place, {"front": block()}), "comment before the first section"
    )
    roles = (
        boundary(layer="CUT")
        + line("Grain line", (40, 30), (40, 130))
        + line("NOTCHES", (0, 80), (6, 80))
        + text("TEXT", "front")
    )
    odd.read("role-layers.dxf", dxf(roles), "layers named as roles")
    odd.read("spline.dxf", _with_library("R2000", True), "outline with a spline", pieces=[{"area": _spline_area()}])
    odd.read("newest.dxf", _with_library("R2018", False), "newest release, light polyline")


def dxf_refused(odd: Odd) -> None:
    """DXF files that must be refused."""
    whole = dxf(insert("front"), {"front": block()})
    odd.refuse("cut-off.dxf", whole[: len(whole) // 2], "file cut in half", "cut off")
    odd.refuse("junk.dxf", bytes(random.Random(3).randrange(256) for _ in range(600)), "junk", "not a DXF")
    odd.refuse(
        "block-of-itself.dxf",
        dxf(insert("front"), {"front": block() + insert("front", 5, 5)}),
        "block within itself",
        "contains itself",
    )
    odd.refuse(
        "open.dxf", dxf(insert("front"), {"front": polyline("1", CORNERS, closed=False)}), "boundary open", "open"
    )
    odd.refuse(
        "crossing.dxf",
        dxf(polyline("1", [(0, 0), (120, 160), (120, 0), (0, 160)])),
        "boundary crosses itself",
        "(60.00, 80.00)",
    )
    odd.refuse("huge.dxf", dxf(insert("front", 1e9, 0), {"front": block()}), "inserted at 1e9 mm", "100 m")
    odd.refuse("no-entities.dxf", dxf([]), "nothing drawn", "no closed outline")
    odd.refuse("drawing.dxf", svg("").replace("svg", "html"), "a web page under a wrong name", "no SVG")


def _spline_controls() -> list[tuple[float, float]]:
    """The quarter circle's place taken by a cubic with its control points on the circle's tangents."""
    return [(80.0, 0.0), (80.0, 30.0), (90.0, 40.0), (120.0, 40.0)]


def _spline_area() -> float:
    """Green's theorem: straight sides as cross products, the cubic by the closed form of its control points."""
    p = _spline_controls()

    def cross(a: tuple[float, float], b: tuple[float, float]) -> float:
        return a[0] * b[1] - a[1] * b[0]

    weights = {(0, 1): 6, (0, 2): 3, (0, 3): 1, (1, 2): 3, (1, 3): 3, (2, 3): 6}
    curve = sum(w * cross(p[i], p[j]) for (i, j), w in weights.items()) / 20
    straight = [CORNERS[3], CORNERS[4], CORNERS[0], CORNERS[1], CORNERS[2]]
    return curve + sum(cross(a, b) for a, b in pairwise(straight)) / 2


def _with_library(release: str, spline: bool) -> bytes:
    """The piece written by ezdxf, which writes what newer releases need."""
    ezdxf.options.write_fixed_meta_data_for_testing = True
    document = ezdxf.new(release)
    document.header["$INSUNITS"] = 4
    made = document.blocks.new("front")
    if spline:
        made.add_lwpolyline([CORNERS[3], CORNERS[4], CORNERS[0], CORNERS[1], CORNERS[2]], dxfattribs={"layer": "1"})
        curve = made.add_spline(dxfattribs={"layer": "1"})
        curve.dxf.degree, curve.control_points, curve.knots = 3, _spline_controls(), [0, 0, 0, 0, 1, 1, 1, 1]
    else:
        made.add_lwpolyline(
            [(*p, BULGE if p == (80.0, 0.0) else 0) for p in CORNERS],
            format="xyb",
            close=True,
            dxfattribs={"layer": "1"},
        )
    made.add_line((40, 30), (40, 130), dxfattribs={"layer": "7"})
    made.add_point((0, 80), dxfattribs={"layer": "4"})
    made.add_text("PIECE NAME: front", dxfattribs={"layer": "1"})
    document.modelspace().add_blockref("front", (0, 0))
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def main() -> None:
    """Write all files anew."""
    odd = Odd()
    for fill in (svg_files, svg_refused, dxf_files, dxf_refused):
        fill(odd)
    FOLDER.mkdir(parents=True, exist_ok=True)
    for old in FOLDER.iterdir():
        old.unlink()
    for name, content in odd.files.items():
        (FOLDER / name).write_bytes(content)
    (FOLDER / "expected.toml").write_text(tomli_w.dumps(odd.expected), encoding="utf-8")
    print(f"{len(odd.files)} files in {FOLDER}")


if __name__ == "__main__":
    if os.environ.get("PYTHONHASHSEED") != "0":
        # ezdxf writes one of its sections in the order of a set
        os.execve(sys.executable, [sys.executable, *sys.argv], {**os.environ, "PYTHONHASHSEED": "0"})
    main()
