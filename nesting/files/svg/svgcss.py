"""The little of CSS that hides lines or draws arrows: a drawing's style sheets, and what they say of an element."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

__all__ = ["Sheets", "declarations", "sheets_of", "style_of"]

#: Other properties do not matter for outlines.
_ATTRIBUTES = ("display", "visibility", "marker-start", "marker-end", "marker")
_MATTER = {*_ATTRIBUTES, "transform", "transform-origin"}
#: What the style sheets say of an element: first what its own style overrules, then what is important.
Sheets = dict[Any, tuple[dict[str, str], dict[str, str]]]


def sheets_of(root: Any, texts: list[str]) -> Sheets:
    """What style sheets say of the elements below ``root``, by selectors of any kind in the order of their weight (CSS
    Selectors 4, section 17). Selectors that cannot be read, and those of moments such as ``:hover``, say nothing."""
    if not texts:
        return {}
    import cssselect2

    matcher = cssselect2.Matcher()
    matters = False
    for text in texts:
        for prelude, usual, important in _rules(text):
            try:
                selectors = cssselect2.compile_selector_list(prelude)
            except cssselect2.SelectorError:
                continue
            for selector in selectors:
                if selector.pseudo_element is None and not selector.never_matches:
                    matcher.add_selector(selector, (usual, important))
                    matters = True
    found: Sheets = {}
    for wrapped in cssselect2.ElementWrapper.from_xml_root(root).iter_subtree() if matters else ():
        for _, _, _, (usual, important) in matcher.match(wrapped):
            mine = found.setdefault(wrapped.etree_element, ({}, {}))
            mine[0].update(usual)
            mine[1].update(important)
    return found


def _rules(text: Any) -> Iterator[tuple[Any, dict[str, str], dict[str, str]]]:
    """(selectors, declarations, important declarations) of each rule that matters, those for some media included."""
    import tinycss2

    for rule in tinycss2.parse_stylesheet(text, skip_comments=True, skip_whitespace=True):
        if rule.type == "at-rule" and rule.lower_at_keyword == "media" and rule.content is not None:
            yield from _rules(rule.content)
        elif rule.type == "qualified-rule":
            parts: tuple[dict[str, str], dict[str, str]] = ({}, {})
            for one in tinycss2.parse_blocks_contents(rule.content, skip_comments=True, skip_whitespace=True):
                if one.type == "declaration" and one.lower_name in _MATTER:
                    parts[one.important][one.lower_name] = tinycss2.serialize(one.value).strip()
            if parts[0] or parts[1]:
                yield rule.prelude, *parts


def declarations(body: str) -> dict[str, str]:
    """The declarations of a style attribute."""
    pairs = (part.split(":", 1) for part in body.split(";") if ":" in part)
    return {key.strip().lower(): value.replace("!important", "").strip() for key, value in pairs}


def style_of(element: Any, sheets: Sheets) -> dict[str, str]:
    """What hides an element or puts arrowheads on it: attributes, then style sheets, then its own style, then what is
    important in style sheets."""
    style = {key: value for key in _ATTRIBUTES if (value := element.get(key)) is not None}
    usual, important = sheets.get(element, ({}, {}))
    return {**style, **usual, **declarations(element.get("style") or ""), **important}
