"""What the names of an SVG element mean: the role of a line, the label of a group."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from nesting.files.drawn.sketch import Group
from nesting.files.drawn.texts import Label, read_label
from nesting.files.drawn.vocabulary import Role, Source, is_made_up, plain, read_role
from nesting.files.svg.svgxml import ident_of, label_of
from nesting.model.piece import NotchKind

__all__ = ["CONTAINERS", "Named", "group_of", "role_of"]

CONTAINERS = ("g", "a", "svg", "switch", "symbol")
#: A role, the name that it belongs to, the kind of notch.
Named = tuple[Role, str | None, NotchKind | None]


def role_of(element: Any, tag: str) -> Named | None:
    """The role of an element by its own words: data-role, classes, label, id; the first that is one counts.

    A name is filled in from a later one ("class=notch id=centre-front").
    """
    tries: list[tuple[str, Source]] = []
    given = element.get("data-role")
    if given:
        tries.append((given, "label"))
    classes = element.get("class") or ""
    if classes.strip():
        tries.append((classes, "label"))
        tries.extend((word, "id") for word in classes.split())
    label = label_of(element)
    if label:
        tries.append((label, "label"))
    ident = ident_of(element)
    if ident:
        tries.append((ident, "label" if tag in CONTAINERS else "id"))
    found = None
    for words, source in tries:
        found = read_role(words, source)
        if found:
            break
    if found is None:
        return None
    role, name, kind = found
    if kind is None and role == "notch":
        for words in (element.get("data-kind") or "", *classes.split()):
            word = read_role(f"{plain(words)} notch", "word") if words else None
            if word and word[2]:
                kind = word[2]
    if name is None and tag not in CONTAINERS:
        name = element.get("data-name") or label or ident
        if name is not None and (read_role(name, "word") is not None or is_made_up(name)):
            name = None
        elif name is not None:
            inner = read_role(name, "id")
            name = inner[1] or name if inner and inner[0] == role else name
    return role, name, kind


def group_of(element: Any, role: Named | None) -> Group:
    """A group with what its label, id and attributes say."""
    label_text = label_of(element)
    ident = ident_of(element)
    name = label_text or ident
    if role is not None:
        return Group(name, Label(role=role[0]))
    label = read_label(label_text) if label_text else Label()
    if label.name is None and ident and plain(ident) not in ("svg", "content", "pieces", "drawing", "pattern"):
        from_id = read_label(ident)
        label = label.over(from_id if label_text is None else Label(name=from_id.name))
    size = element.get("data-size")
    material = element.get("data-material") or element.get("data-cloth") or element.get("data-fabric")
    if size:
        label = replace(label, size=size.strip())
    if material:
        label = replace(label, material=material.strip())
    cut = element.get("data-cut") or element.get("data-quantity")
    if cut:
        told = read_label(cut if re.search(r"cut", cut, re.I) else f"cut {cut}")
        label = told.over(label)
    mirrored = element.get("data-mirrored")
    if mirrored is not None:
        label = replace(label, mirrored=mirrored.strip().lower() in ("", "true", "yes", "1", "mirrored"))
    kept = ("data-category", "data-note", "data-error", "data-origin")
    extra = [(key, value) for key in kept if (value := element.get(key))]
    return Group(name, label, extra=[(key[5:], value) for key, value in extra])
