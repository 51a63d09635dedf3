"""A whole report page of some lays."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from nesting.model.findings import Finding
from nesting.model.lay import Lay
from nesting.model.order import Order
from nesting.report.html.drawn import html_of
from nesting.report.html.lay_part import care_part, lay_part
from nesting.resolving.resolve import resolve


def report_page(
    lays: Sequence[Lay],
    order: Order | None,
    *,
    extra: Iterable[tuple[str, Mapping[str, Any]]] = (),
    findings: Iterable[Finding] = (),
    verdicts: Mapping[int, Any] | None = None,
) -> bytes:
    """The page as ``nesting lay`` writes it, or ``nesting remnants`` where all lays are on leftovers."""
    name = "remnants" if all(lay.remnant for lay in lays) else "lay"
    every = (*(order.findings if order is not None else ()), *findings)
    title = next((lay.title for lay in lays if lay.title), "Lay")
    listed = resolve(order) if order else None
    shown = {name: lay_part(lays, listed, extra=extra, verdicts=verdicts), "care": care_part(every)}
    return html_of(json.loads(json.dumps({"title": title, "shown": shown}))).encode("utf-8")
