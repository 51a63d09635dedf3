"""One report in one folder: each command writes its part of ``report.html`` and ``report.json``, and keeps the others.

Glossary
    *part*: what one command tells, as self-contained HTML between two comments that name it. *Mark*: stands for the
    order as it was read, cloths, pieces and all; both files carry it. Parts of the same mark are kept, so a report
    never mixes two orders, nor an order before and after a change.

``report.json`` holds what a lay tells at its top, and under "buy", "remnants" and "batch" the documents of these.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from nesting.model.order import Order
from nesting.report.html.rendering import rendered, style

__all__ = ["PARTS", "Report", "json_bytes", "mark_of", "page", "report_with"]

#: Every part in its place on the page, with its heading there. "trims" are those of what to buy, where no lay tells
#: them; "care" is what must be said with any of the others.
PARTS: dict[str, str | None] = {
    "lay": "Lay",
    "buy": "What to buy",
    "trims": None,
    "remnants": "From leftovers",
    "batch": "The batch in sections",
    "care": None,
}
#: Parts whose document has a key of its own; a lay's keys are at the top.
_KEYED = ("buy", "remnants", "batch")
#: Keys at the top that belong to no part.
_SHARED = ("schema", "units", "title", "order", "trims", "files")


@dataclass(frozen=True)
class Report:
    """``files``: the two files' content by path. ``kept``: parts that were there. ``replaced``: there was a report of
    another order, which this one takes the place of."""

    files: dict[Path, bytes]
    kept: tuple[str, ...]
    replaced: bool


def mark_of(order: Order) -> str:
    """The same for orders that are the same in everything but their place and what was noticed while reading."""
    return hashlib.sha256(repr(replace(order, path=None, findings=(), do_not_cut=())).encode("utf-8")).hexdigest()


def page(title: str, parts: Mapping[str, str], mark: str = "", do_not_cut: Sequence[str] = ()) -> bytes:
    """The page of these parts (trusted HTML), whatever their sequence. A heading is left out where it goes without
    saying: over a lay alone."""
    there = [name for name in PARTS if name in parts and not (name == "trims" and "lay" in parts)]
    headed = [name for name in there if PARTS[name] is not None]
    alone = headed == ["lay"]
    return rendered(
        "page.html.jinja",
        title=title,
        do_not_cut=tuple(do_not_cut),
        css=style(),
        mark=mark,
        several=len(headed) > 1,
        parts=[{"name": name, "heading": None if alone else PARTS[name], "html": parts[name]} for name in there],
    ).encode("utf-8")


def report_with(
    folder: Path,
    order: Order,
    parts: Mapping[str, str],
    document: Mapping[str, Any],
    *,
    trims: Sequence[Mapping[str, Any]] | None = None,
    spare: Mapping[str, str] | None = None,
) -> Report:
    """The report in ``folder`` with these parts in place of older ones; nothing is written.

    ``document`` is what the command tells in JSON, with its "files". Its key in ``report.json`` is that of the one part
    of ``parts`` that has a key, or it goes to the top. ``spare`` parts are taken only where there is none yet; so are
    the old ``trims`` where none are given.
    """
    mark = mark_of(order)
    old = _read(folder, mark)
    known, kept_html = ({}, {}) if old is None else old
    html = {**(spare or {}), **kept_html, **parts}
    key = next((name for name in _KEYED if name in parts), None)
    told = {name: known[name] for name in _KEYED if name in known and name in kept_html}
    lay = {k: v for k, v in known.items() if k not in (*_KEYED, *_SHARED)} if "lay" in kept_html else {}
    lay_files = set(known.get("files", ())) - {f for one in told.values() for f in one.get("files", ())}
    if key is None:
        lay = {k: v for k, v in document.items() if k not in _SHARED}
        lay_files = set(document.get("files", ()))
    else:
        told[key] = dict(document)
    every = lay_files | {f for one in told.values() for f in one.get("files", ())}
    whole: dict[str, Any] = {
        "schema": "report/1",
        "units": "mm",
        "title": order.title,
        "order": {"file": None if order.path is None else order.path.name, "sha256": order.sha256, "mark": mark},
        "lays": [],
        "findings": [finding.as_dict() for finding in order.findings],
        **lay,
        "trims": known.get("trims", []) if trims is None else list(trims),
        **{name: told[name] for name in _KEYED if name in told},
        "files": sorted(str(folder / Path(f).name) for f in every),
    }
    there = any((folder / name).exists() for name in ("report.html", "report.json"))
    shown = page(order.title, html, mark, order.do_not_cut)
    return Report(
        {folder / "report.html": shown, folder / "report.json": json_bytes(whole)},
        tuple(name for name in PARTS if name in kept_html and name not in parts and PARTS[name] is not None),
        old is None and there,
    )


def json_bytes(document: Mapping[str, Any]) -> bytes:
    """A document as it is written to a file."""
    return json.dumps(document, indent=1, ensure_ascii=False).encode("utf-8")


def _read(folder: Path, mark: str) -> tuple[dict[str, Any], dict[str, str]] | None:
    """The document and the parts of a report of that mark, or None: what is not whole, or not ours, is not kept."""
    try:
        text = (folder / "report.html").read_text(encoding="utf-8")
        document = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    if f'<meta name="nesting-order" content="{mark}">' not in text or not isinstance(document, dict):
        return None
    order = document.get("order")
    if not isinstance(order, dict) or order.get("mark") != mark:
        return None
    found = re.findall(r"^<!-- part (\w+) -->\n(.*?)\n<!-- end of part \1 -->$", text, re.DOTALL | re.MULTILINE)
    parts = {name: html for name, html in found if name in PARTS}
    documents = [document.get(name, {}) for name in _KEYED]
    lists = [document.get("files", []), *(one.get("files", []) for one in documents if isinstance(one, dict))]
    sound = all(isinstance(one, dict) for one in documents) and all(
        isinstance(some, list) and all(isinstance(f, str) for f in some) for some in lists
    )
    return (document, parts) if sound else None
