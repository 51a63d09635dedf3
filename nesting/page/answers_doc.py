"""The views of buying, leftovers and batches: the answers of those commands, as tables and pictures."""

from __future__ import annotations

from typing import Any

from nesting.model.units import format_length, format_width
from nesting.page.cut_doc import files_in
from nesting.page.documents import AnswerDoc, BuyDoc
from nesting.page.workspace import Workspace

__all__ = ["answer_doc", "buy_doc"]


def _stored(work: Workspace, kind: str) -> dict[str, Any]:
    kept = work.stored(f"{kind}.json")
    return kept if isinstance(kept, dict) else {}


def answer_doc(work: Workspace, kind: str, rev: int) -> AnswerDoc:
    """What remnants or batch answered last."""
    kept = _stored(work, kind)
    pictures = [
        {"name": f["name"], "title": f["name"].removesuffix(".svg"), "url": f["url"]}
        for f in files_in(work)
        if f["name"].endswith(".svg") and f["name"] in kept.get("files", [])
    ]
    return {
        "rev": rev,
        "answer": kept.get("document"),
        "words": list(kept.get("words", [])),
        "pictures": pictures,
        "stale": bool(kept) and kept.get("sha") != work.sha256,
        "command": str(kept.get("command", "")),
    }


def buy_doc(work: Workspace, rev: int) -> BuyDoc:
    """What to buy, one row per width, the other spreads under it."""
    kept = _stored(work, "buy")
    document = kept.get("document") or {}
    imperial = work.survey.imperial
    by_width: dict[tuple[Any, Any], list[dict[str, Any]]] = {}
    for row in document.get("rows", []):
        by_width.setdefault((row.get("cloth"), row.get("width")), []).append(row)
    rows = []
    for group in by_width.values():
        best = min(group, key=lambda r: r.get("buy_length") or r.get("buy") or 1e12)
        rows.append({**best, "more": [r for r in group if r is not best]})
    trims = document.get("trims", [])
    shopping = []
    for cloth in dict.fromkeys(row.get("cloth") for row in rows):
        row = min(
            (r for r in rows if r.get("cloth") == cloth), key=lambda r: r.get("buy_length") or r.get("buy") or 1e12
        )
        length = row.get("buy_length") or row.get("buy")
        if length:
            wide = f", {format_width(row['width'], imperial=imperial)} wide" if row.get("width") else ""
            shopping.append(f"{cloth}: {format_length(length, imperial=imperial)}{wide}")
    for trim in trims:
        length = trim.get("buy_length") or trim.get("buy")
        if length:
            shopping.append(f"{trim.get('name')}: {format_length(length, imperial=imperial)}")
    return {
        "rev": rev,
        "answer": document or None,
        "rows": rows,
        "refused": document.get("refused", []),
        "trims": trims,
        "curve": document.get("curve", []) if isinstance(document.get("curve"), list) else [],
        "shopping": shopping,
        "stale": bool(kept) and kept.get("sha") != work.sha256,
        "command": str(kept.get("command", "")),
    }
