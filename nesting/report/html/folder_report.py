"""One report in one folder: each command writes its part of ``report.json`` and keeps the others, and draws the page.

Glossary
    *part*: what one command tells, as it is shown. *Mark*: stands for the order as it was read, cloths, pieces and all.
    Parts of the same mark are kept, so a report never mixes two orders, nor an order before and after a change.

``report.json`` holds what a lay tells at its top, under "buy", "remnants" and "batch" the documents of these, and under
"shown" what stands on the page, part by part (see ``drawn``).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from jinja2 import UndefinedError

from nesting.model.errors import InputError
from nesting.model.order import Order
from nesting.report.html.drawn import PARTS, html_of, part_html

__all__ = ["Report", "json_bytes", "mark_of", "redrawn", "report_with"]

#: Parts whose document has a key of its own; a lay's keys are at the top.
_KEYED = ("buy", "remnants", "batch")
#: Keys at the top that belong to no part.
_SHARED = ("schema", "units", "title", "order", "trims", "files", "shown", "do_not_cut")


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


def report_with(
    folder: Path,
    order: Order,
    parts: Mapping[str, Mapping[str, Any]],
    document: Mapping[str, Any],
    *,
    trims: Sequence[Mapping[str, Any]] | None = None,
    spare: Mapping[str, Mapping[str, Any]] | None = None,
) -> Report:
    """The report in ``folder`` with these parts, as they are shown, in place of older ones; nothing is written.

    ``document`` is what the command tells in JSON, with its "files". Its key in ``report.json`` is that of the one part
    of ``parts`` that has a key, or it goes to the top. ``spare`` parts are taken only where there is none yet; so are
    the old ``trims`` where none are given.
    """
    mark = mark_of(order)
    old = _read(folder, mark)
    known, kept = ({}, {}) if old is None else old
    shown = {**(spare or {}), **kept, **parts}
    key = next((name for name in _KEYED if name in parts), None)
    told = {name: known[name] for name in _KEYED if name in known and name in kept}
    lay = {k: v for k, v in known.items() if k not in (*_KEYED, *_SHARED)} if "lay" in kept else {}
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
        "do_not_cut": list(order.do_not_cut),
        "shown": {name: shown[name] for name in PARTS if name in shown},
    }
    there = any((folder / name).exists() for name in ("report.html", "report.json"))
    content = json_bytes(whole)
    return Report(
        {folder / "report.html": html_of(json.loads(content)).encode("utf-8"), folder / "report.json": content},
        tuple(name for name in PARTS if name in kept and name not in parts and PARTS[name] is not None),
        old is None and there,
    )


def json_bytes(document: Mapping[str, Any]) -> bytes:
    """A document as it is written to a file."""
    return json.dumps(document, indent=1, ensure_ascii=False).encode("utf-8")


def redrawn(path: Path) -> bytes:
    """The page of the report's document in a file. InputError where it is none."""
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
        return html_of(document).encode("utf-8")
    except OSError as error:
        raise InputError(f"the report cannot be read ({error.strerror})", file=path, code="report.unreadable") from None
    except (ValueError, KeyError, TypeError, AttributeError, UndefinedError):
        raise InputError(
            "this is no report of this program (report.json, with what it shows): make it anew with nesting lay",
            file=path,
            code="report.not-ours",
        ) from None


def _read(folder: Path, mark: str) -> tuple[dict[str, Any], dict[str, Any]] | None:
    """The document and the parts of a report of that mark, or None: what is not whole, or not ours, is not kept."""
    try:
        document = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    if not isinstance(document, dict):
        return None
    order, shown = document.get("order"), document.get("shown")
    if not isinstance(order, dict) or order.get("mark") != mark or not isinstance(shown, dict):
        return None
    try:
        for name, part in shown.items():
            part_html(name, part)
    except (ValueError, KeyError, TypeError, AttributeError, UndefinedError):
        return None
    documents = [document.get(name, {}) for name in _KEYED]
    lists = [document.get("files", []), *(one.get("files", []) for one in documents if isinstance(one, dict))]
    sound = all(isinstance(one, dict) for one in documents) and all(
        isinstance(some, list) and all(isinstance(f, str) for f in some) for some in lists
    )
    return (document, shown) if sound else None
