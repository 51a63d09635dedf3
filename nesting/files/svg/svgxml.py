"""The XML of an SVG drawing: safe parsing, attributes and names."""

from __future__ import annotations

import io
import re
from typing import Any

from nesting.files.drawn.context import Context
from nesting.files.drawn.vocabulary import is_made_up

__all__ = [
    "MOST_ELEMENTS",
    "MOST_LEVELS",
    "attribute",
    "describe",
    "ident_of",
    "label_of",
    "parse",
    "tag_of",
]

#: A pattern has some thousand elements in a few levels. Beyond these limits a drawing is hostile.
MOST_ELEMENTS = 100_000
MOST_LEVELS = 200


def parse(data: bytes, ctx: Context) -> Any:
    """The root element. Raises PatternError for what is no sound XML, for entities, and for hostile sizes."""
    from xml.etree.ElementTree import ParseError

    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import iterparse

    try:
        level = count = 0
        root = None
        for event, element in iterparse(io.BytesIO(data), events=("start", "end"), forbid_dtd=False):
            if event == "start":
                root = element if root is None else root
                level += 1
                count += 1
                if level > MOST_LEVELS or count > MOST_ELEMENTS:
                    raise ctx.error(
                        f"the drawing has more than {MOST_LEVELS} levels or {MOST_ELEMENTS} elements; that is no "
                        "pattern. Save only the pattern pieces",
                        code="drawing.too-large",
                    )
            else:
                level -= 1
        if root is None:
            raise ctx.error("the file is empty: expected an SVG drawing", code="file.empty")
        return root
    except DefusedXmlException as error:
        raise ctx.error(
            f"the file declares XML entities or outside references ({type(error).__name__}), which drawings do not "
            "need; it is refused. Save it again as plain SVG",
            code="file.entities",
        ) from None
    except ParseError as error:
        raise ctx.error(
            f"the file is no sound XML ({error}); save the drawing again as SVG", code="file.damaged"
        ) from None
    except (LookupError, UnicodeError, ValueError) as error:
        raise ctx.error(
            f"the file's text encoding cannot be read ({error}); save it as UTF-8", code="file.encoding"
        ) from None


def tag_of(element: Any) -> str:
    """The element's local name, empty for comments and the like."""
    tag = element.tag
    return tag.rsplit("}", 1)[-1] if isinstance(tag, str) else ""


def attribute(element: Any, name: str) -> str | None:
    """An attribute by its local name, whatever its namespace."""
    value = element.get(name)
    if value is not None:
        return str(value)
    for key, found in element.attrib.items():
        if key.rsplit("}", 1)[-1] == name:
            return str(found)
    return None


def label_of(element: Any) -> str | None:
    """The label that a person gave: an attribute of that name in any namespace, or a title."""
    for name in ("data-name", "label", "aria-label", "data-label"):
        value = attribute(element, name)
        if value and value.strip() and not is_made_up(value):
            return value.strip()
    for child in element:
        if isinstance(child.tag, str) and tag_of(child) == "title" and child.text and not is_made_up(child.text):
            return str(child.text).strip()
    return None


def ident_of(element: Any) -> str | None:
    """The id if a person gave it, with the escapes that drawing programs write for blanks undone."""
    ident = element.get("id")
    if not ident or is_made_up(ident):
        return None
    ident = re.sub(r"_x([0-9A-Fa-f]{2,4})_", lambda m: chr(int(m[1], 16)), str(ident))
    return ident.strip() or None


def describe(element: Any) -> str:
    """The element for a message."""
    ident = label_of(element) or element.get("id")
    return f"{tag_of(element)} '{ident}'" if ident else f"a {tag_of(element)}"
