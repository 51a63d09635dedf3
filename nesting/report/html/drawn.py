"""The report page, drawn from the report's document (``report.json``) alone.

The document's "shown" holds for each part what stands on the page: words, figures as they are printed, and drawings as
SVG text. Nothing else is read, so the page can be drawn again wherever the document is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from nesting.report.html.rendering import rendered, rendered_macro, style

__all__ = ["PARTS", "html_of", "part_html"]

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
#: sections that a part of lays may hold, by the macro that draws them
_SECTIONS = {"buy": "buying", "trims": "trims", "plan of leftovers": "remnants", "plan of the batch": "batch"}


def part_html(name: str, shown: Mapping[str, Any]) -> str:
    """One part, or one section of a part, as HTML. KeyError for a name that is none; jinja2.UndefinedError where
    something of it is missing."""
    if name in _SECTIONS:
        return rendered_macro("buy.html.jinja", _SECTIONS[name], shown)
    if name in ("care", "alterations"):
        return rendered(f"{name}.html.jinja", **shown)
    if name not in PARTS:
        raise KeyError(name)
    extra = [part_html(section, what) for section, what in shown["extra"]]
    return rendered("lay.html.jinja", **{**shown, "extra": extra})


def html_of(document: Mapping[str, Any]) -> str:
    """The page of a report's document: the same document gives the same page. A heading is left out where it goes
    without saying: over a lay alone."""
    shown = document["shown"]
    there = [name for name in PARTS if name in shown and not (name == "trims" and "lay" in shown)]
    headed = [name for name in there if PARTS[name] is not None]
    alone = headed == ["lay"]
    headings = {name: None if alone else PARTS[name] for name in there}
    parts = [{"name": name, "heading": headings[name], "html": part_html(name, shown[name])} for name in there]
    return rendered(
        "page.html.jinja",
        title=document["title"],
        do_not_cut=tuple(document.get("do_not_cut", ())),
        css=style(),
        several=len(headed) > 1,
        parts=parts,
    )
