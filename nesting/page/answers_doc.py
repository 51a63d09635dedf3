"""The views of buying, leftovers and batches: the answers of those commands, as tables and pictures."""

from __future__ import annotations

from typing import Any

from nesting.model.units import format_length, format_width
from nesting.page.cut_doc import files_in
from nesting.page.documents import AnswerDoc, BuyDoc
from nesting.page.finish_takes import not_reckoned
from nesting.page.known_lays import kept_lays, with_known
from nesting.page.lays import Lays
from nesting.page.plain import plain
from nesting.page.workspace import Workspace

__all__ = ["answer_doc", "buy_doc"]


def _stored(work: Workspace, kind: str) -> dict[str, Any]:
    kept = work.stored(f"{kind}.json")
    return kept if isinstance(kept, dict) else {}


def answer_doc(work: Workspace, kind: str, rev: int) -> AnswerDoc:
    """What remnants or batch answered last."""
    kept = _stored(work, kind)
    document = _told(work, kept.get("document"))
    pictures = [
        {"name": f["name"], "title": _title(f["name"], document), "url": f["url"]}
        for f in files_in(work)
        if f["name"].endswith(".svg") and f["name"] in kept.get("files", [])
    ]
    return {
        "rev": rev,
        "answer": document,
        "words": list(kept.get("words", [])),
        "pictures": pictures,
        "stale": bool(kept) and kept.get("sha") != work.sha256,
        "command": str(kept.get("command", "")),
    }


def _told(work: Workspace, document: Any) -> Any:
    """The answer for people: a piece that is there in one hand only is not called right."""
    order = work.survey.order
    if not isinstance(document, dict) or order is None:
        return document
    pairs = {one.piece.key for one in order.pieces if one.mirrored}
    plan = document.get("leftovers") or document
    pieces = [
        one if (one["piece"], one["size"]) in pairs or (one["piece"], None) in pairs else {**one, "hand": None}
        for one in plan.get("pieces", [])
    ]
    told = {**plan, "pieces": pieces}
    return {**document, "leftovers": told} if document.get("leftovers") else told


def _title(name: str, document: Any) -> str:
    """What a picture shows, by its file's name: "lay-main-part-2.svg" is the second section of main."""
    plan = (document.get("leftovers") or document) if isinstance(document, dict) else {}
    for remnant in {str(one["remnant"]) for one in plan.get("pieces", [])}:
        if name.removesuffix(".svg").endswith(f"-{remnant.replace(' ', '-')}"):
            return f"the leftover {remnant}"
    return name.removesuffix(".svg").removeprefix("lay-").replace("-part-", ", section ")


def buy_doc(work: Workspace, lays: Lays, rev: int) -> BuyDoc:
    """What to buy, one row per width, the other spreads under it."""
    kept = _stored(work, "buy")
    stale = bool(kept) and kept.get("sha") != work.sha256
    document = kept.get("document") or {}
    if document and not stale:
        document = with_known(document, kept_lays(lays))
    imperial = work.survey.imperial
    by_width: dict[tuple[Any, Any], list[dict[str, Any]]] = {}
    for row in document.get("rows", []):
        by_width.setdefault((row["cloth"], row["width"]), []).append(row)
    rows = []
    for group in by_width.values():
        # the row to go by, else the one that buys least
        first = min(group, key=lambda r: (not r["best"], r["buy_length"]))
        rows.append({**_buy_row(first), "more": [_buy_row(r) for r in group if r is not first]})
    trims = [_trim(one) for one in document.get("trims", [])]
    shopping = [
        f"{row['cloth']}: {format_length(row['buy_length'], imperial=imperial)}, "
        f"{format_width(row['width'], imperial=imperial)} wide ({_lies(row)})"
        for row in document.get("rows", [])
        if row["best"]
    ]
    shopping += [f"{one['name']}: {format_length(one['buy'], imperial=imperial)}" for one in trims]
    unlisted = not_reckoned(work.survey)
    if shopping:
        shopping += unlisted
    # the curve is that of the cloth's own width, whichever widths were compared
    cloths = work.survey.order.cloths if work.survey.order is not None and not stale else ()
    widths = {cloth.name: cloth.width for cloth in cloths}
    return {
        "rev": rev,
        "answer": document or None,
        "rows": rows,
        "refused": [
            {"cloth": r["cloth"], "width": r["width"], "spread": r["spread"], "nap": r["nap"],
             "why": plain(str(r["reason"]), r["code"])}
            for r in document.get("refused", [])
        ],
        "trims": trims,
        "curves": [
            {"cloth": c["cloth"], "width": widths.get(c["cloth"]),
             "points": [{"count": p["count"], "length": p["buy_length"]} for p in c["points"]]}
            for c in document.get("curves", [])
        ],
        "savings": None if document.get("what_if") is None else [_saving(one) for one in document["what_if"]],
        "shopping": shopping,
        "unlisted": unlisted,
        "stale": stale,
        "command": str(kept.get("command", "")),
    }  # fmt: skip


def _lies(row: dict[str, Any]) -> str:
    """How the cloth is spread, in words."""
    nap = "" if row["nap"] in (None, "none") else f", nap {row['nap']}"
    over = f", laid over {row['over']}" if row["over"] else ", cut apart" if row["apart_from"] else ""
    if row.get("patches"):
        over = f", in patches laid at their leaders on {row['over']}"
    return f"{row['spread']}{nap}{over}"


def _buy_row(row: dict[str, Any]) -> dict[str, Any]:
    return {
        "cloth": row["cloth"],
        "width": row["width"],
        "spread": _lies(row),
        "length": row["lay_length"],
        "buy": row["buy_length"],
        "cost": row["cost"],
        "per_garment": row["per_garment"],
        "next_adds": row["one_more"],
        "next_garment": row["next_garment"],
        "best": row["best"],
        "known": bool(row.get("known")),
    }


def _saving(one: dict[str, Any]) -> dict[str, Any]:
    """What a change would save; ``handling`` says why where it cannot be laid."""
    refused = one["refused"] is not None
    return {
        "what": plain(str(one["what"])),
        "lengths": {cloth: mm for cloth, mm in one["lengths"].items() if abs(mm) > 1e-6},
        "money": one["money"],
        "handling": plain(f"cannot be laid: {one['refused']}" if refused else str(one["handling"])),
        "refused": refused,
    }


def _trim(one: dict[str, Any]) -> dict[str, Any]:
    return {
        "name": f"{one['kind']} for the {one['opening']}" if one["opening"] else one["kind"],
        "count": sum(o["count"] * o["openings"] for o in one["openings"]),
        "total": one["total"],
        "buy": one["length"],
        "cost": one["cost"],
    }
