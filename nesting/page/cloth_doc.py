"""The view of cloth and people: cloths with all that an order may say of them, leftovers, wearers."""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

from nesting.checking.fit import fit_findings, opening_lines, opening_words
from nesting.files.orders.order_cloth import read_cloth, read_remnants
from nesting.files.orders.order_schema import BLOCKS, REQUIRED, TOP, Key
from nesting.files.orders.order_values import Choice
from nesting.model.errors import NestingError
from nesting.model.findings import Finding
from nesting.model.order import Cloth, Remnant, SpreadName
from nesting.page.documents import (
    BandDoc,
    ClothDoc,
    ClothsDoc,
    GarmentDoc,
    OpeningDoc,
    RemnantDoc,
    TrimDoc,
    WearerDoc,
)
from nesting.page.survey import Survey
from nesting.page.words import finding_doc, line
from nesting.pieces.seams import edge_names
from nesting.planning.leftovers.stash import read_stash

__all__ = [
    "MEASURES",
    "bands_of",
    "cloths_doc",
    "edges_in",
    "garments_of",
    "openings_of",
    "remnant_doc",
    "stash_file",
    "trims_of",
    "wearers_of",
]

#: what is measured for close-fitting wear
MEASURES = ("waist", "hip", "thigh", "bust", "under bust", "chest", "neck", "shoulder", "upper arm", "back length",
            "crotch length", "side length", "inseam")  # fmt: skip
_LENGTHS = {"width", "selvage", "length", "table_length", "increment", "gap", "end_allowance", "repeat_along",
            "repeat_across", "patch_margin"}  # fmt: skip
_SHARES = {"stretch_across", "stretch_along", "stretch_tolerance", "fibre_stretch", "shrink_along", "shrink_across"}
_FLAGS = {"tubular", "right_side", "may_turn_plies", "surplus"}


def stash_file(folder: Path) -> Path:
    """Where the leftovers of this folder are kept."""
    return folder / "stash.toml"


def cloths_doc(survey: Survey, rev: int) -> ClothsDoc:
    """Cloths, leftovers of the order and the stash, wearers, garments."""
    cloths: list[ClothDoc] = []
    read: list[Cloth] = []
    for index, raw in enumerate(one for one in survey.document.get("cloth", []) if isinstance(one, dict)):
        doc, cloth = _cloth(survey, index, raw)
        cloths.append(doc)
        read += [cloth] if cloth is not None else []
    remnants: list[RemnantDoc] = []
    for index, block in enumerate(survey.blocks.get("remnant", [])):
        try:
            found, _ = read_remnants([block], tuple(read), survey.path.parent)
            remnants += [remnant_doc(one, index) for one in found]
        except NestingError:
            continue
    file = stash_file(survey.path.parent)
    with suppress(NestingError):
        remnants += [remnant_doc(one, None) for one in read_stash(file).remnants]
    return {
        "rev": rev,
        "cloths": cloths,
        "fields": _fields(),
        "remnants": remnants,
        "stash": file.name if file.is_file() else None,
        "wearers": wearers_of(survey),
        "measures": list(MEASURES),
        "openings": openings_of(survey),
        "trims": trims_of(survey),
        "bands": bands_of(survey),
        "kinds": list(next(key.allowed for key in BLOCKS["trim"] if key.name == "kind")),
        "edges": edges_in(survey),
        "garments": garments_of(survey),
        "top": {key.name: str(survey.document.get(key.name, key.default_shown)) for key in TOP},
    }


def _fields() -> list[dict[str, Any]]:
    fields = []
    for key in BLOCKS["cloth"]:
        kind = (
            "length" if key.name in _LENGTHS
            else "share" if key.name in _SHARES
            else "flag" if key.name in _FLAGS
            else "choice" if isinstance(key.read, Choice)
            else "list" if key.name == "spreads"
            else "number" if key.name in ("price", "plies", "max_plies")
            else "text"
        )  # fmt: skip
        fields.append(
            {
                "name": key.name,
                "meaning": key.meaning,
                "kind": kind,
                "allowed": list(get_args(SpreadName)) if key.name == "spreads" else list(key.allowed),
                "default": key.default_shown,
                "required": key.default is REQUIRED,
            }
        )
    return fields


def _cloth(survey: Survey, index: int, raw: dict[str, Any]) -> tuple[ClothDoc, Cloth | None]:
    name = str(raw.get("name", f"cloth {index + 1}"))
    blocks = survey.blocks.get("cloth", [])
    block = next((b for b in blocks if b["name"] == name), None)
    cloth = None
    findings: list[Finding] = []
    if block is not None:
        try:
            cloth = read_cloth(block, imperial=survey.imperial)
        except NestingError:
            cloth = None
    if cloth is not None and cloth.width < 300.0:
        likely = raw.get("width")
        findings.append(
            Finding(
                "question",
                f"this cloth is only {cloth.width / 10:g} cm wide ({likely!r}): were centimetres meant? Common widths "
                "are 90 to 160 cm",
                code="cloth.width-unusual",
            )
        )
    if cloth is not None and survey.order is not None:
        findings += [f for f in (*survey.order.findings, *survey.lying) if f.figures.get("cloth") == name]
    doc: ClothDoc = {
        "index": index,
        "name": name,
        "fields": {key.name: {"value": _written(raw, key, survey.units), "given": key.name in raw}
                   for key in BLOCKS["cloth"]},
        "in_mm": {} if cloth is None else {
            "width": cloth.width, "width_washed": cloth.width_washed, "usable_width": cloth.usable_width,
        },
        "findings": [finding_doc(f) for f in findings],
    }  # fmt: skip
    return doc, cloth


def _written(raw: dict[str, Any], key: Key, units: str) -> Any:
    """A value as it is written, or what holds where nothing is; lengths with their unit."""
    value = raw.get(key.name)
    if key.name in _LENGTHS:
        bare = re.fullmatch(r"\s*\d+(?:[.,]\d+)?\s*", str(value))
        return f"{str(value).strip()} {units}" if bare else value if value is not None else key.written
    if value is None and isinstance(key.default, str | int | float | bool):
        return key.default
    return value


def remnant_doc(remnant: Remnant, index: int | None) -> RemnantDoc:
    """A leftover with its picture."""
    xs, ys = [p[0] for p in remnant.outline], [p[1] for p in remnant.outline]
    return {
        "index": index,
        "name": remnant.name,
        "cloth": remnant.cloth,
        "outline": line(remnant.outline),
        "flaws": [line(one) for one in remnant.flaws],
        "length": round(max(xs) - min(xs), 2),
        "width": round(max(ys) - min(ys), 2),
        "rectangular": replace(remnant, flaws=()).rectangular,
        "source": "order" if index is not None else "stash",
    }


def wearers_of(survey: Survey) -> list[WearerDoc]:
    """The wearers of the order."""
    found: list[WearerDoc] = []
    for index, raw in enumerate(survey.document.get("wearer", [])):
        if isinstance(raw, dict):
            measures = raw.get("measures", {})
            texts = {str(k): str(v) for k, v in measures.items()} if isinstance(measures, dict) else {}
            found.append({"index": index, "name": str(raw.get("name", "")), "measures": texts})
    return found


def openings_of(survey: Survey) -> list[OpeningDoc]:
    """The openings of the order, and whether they go on."""
    listed = survey.listed
    lines = opening_lines(listed) if listed is not None else ()
    found: list[OpeningDoc] = []
    for index, raw in enumerate(one for one in survey.document.get("opening", []) if isinstance(one, dict)):
        mine = [one for one in lines if one.name == raw.get("name")]
        told = fit_findings(listed, mine) if listed is not None else []
        found.append(
            {
                "index": index,
                "name": str(raw.get("name", "")),
                "edges": _listed(raw.get("edges")),
                "sits": str(raw["sits"]) if "sits" in raw else None,
                "passes": str(raw["passes"]) if "passes" in raw else None,
                "values": _values(raw, ("stretch", "least", "most", "openings")),
                "lines": [opening_words(one, survey.imperial) for one in mine],
                "findings": [finding_doc(one) for one in told],
            }
        )
    return found


def _listed(value: Any) -> list[str]:
    return [] if value is None else [value] if isinstance(value, str) else [str(one) for one in value]


def _values(raw: dict[str, Any], keys: tuple[str, ...]) -> dict[str, str]:
    """Keys as they are written, those that are given."""
    return {key: str(raw[key]) for key in keys if key in raw}


def trims_of(survey: Survey) -> list[TrimDoc]:
    """The elastics, bindings and laces of the order."""
    found: list[TrimDoc] = []
    for index, raw in enumerate(one for one in survey.document.get("trim", []) if isinstance(one, dict)):
        ratios = raw.get("ratios", {})
        found.append(
            {
                "index": index,
                "name": str(raw.get("name", "")),
                "kind": str(raw.get("kind", "")),
                "edges": _listed(raw.get("edges")),
                "values": _values(raw, tuple(k.name for k in BLOCKS["trim"][3:] if k.name != "ratios")),
                "ratios": {str(k): str(v) for k, v in ratios.items()} if isinstance(ratios, dict) else {},
            }
        )
    return found


def bands_of(survey: Survey) -> list[BandDoc]:
    """The pieces that have no drawing: bands that go round an opening, and strips by their measures."""
    order = survey.order or survey.assumed
    found: list[BandDoc] = []
    for raw in survey.document.get("piece", []):
        if not isinstance(raw, dict) or not {"round", "rectangle"} & set(raw):
            continue
        name = str(raw.get("name", ""))
        labels = {one.piece.label: one.piece.size for key, one in survey.drawn.items() if key[0] == name}
        told = [f for f in (order.findings if order is not None else ()) if f.code == "band.length"]
        words = [f"{labels[str(f.piece)]}: {f.message}" if labels[str(f.piece)] else f.message
                 for f in told if f.piece in labels]  # fmt: skip
        found.append(
            {
                "index": len(found),
                "name": name,
                "size": raw.get("size"),
                "round": _listed(raw["round"]) if "round" in raw else None,
                "rectangle": _listed(raw["rectangle"]) if "rectangle" in raw else None,
                "values": _values(raw, ("height", "ratio", "join")),
                "words": words,
            }
        )
    return found


def edges_in(survey: Survey) -> list[str]:
    """The named edges of all pieces, "piece.edge"."""
    named: dict[str, None] = {}
    for cut in survey.ready.values():
        for name in edge_names(cut.piece):
            if name != "fold" and not name.replace("-", "").isdigit():
                named[f"{cut.name}.{name}"] = None
    return list(named)


def garments_of(survey: Survey) -> list[GarmentDoc]:
    """The garments of the order, as written."""
    found: list[GarmentDoc] = []
    for index, raw in enumerate(survey.document.get("garment", [])):
        if isinstance(raw, dict):
            found.append(
                {
                    "index": index,
                    "name": str(raw.get("name", "")),
                    "size": raw.get("size"),
                    "wearer": raw.get("wearer"),
                    "count": raw.get("count", 1),
                    "pieces": raw.get("pieces"),
                    "cloth": raw.get("cloth", {}),
                    "value": raw.get("value", 1.0),
                    "ratio": raw.get("ratio"),
                    "same_cloth": raw.get("same_cloth") is True,
                }
            )
    return found
