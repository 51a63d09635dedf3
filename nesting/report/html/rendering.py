"""Templates of the report, filled in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from nesting.report.drawing.fonts import shown

__all__ = ["plain", "rendered", "rendered_macro", "style"]


@cache
def _template(name: str) -> Any:
    from jinja2 import Environment, StrictUndefined, select_autoescape

    environment = Environment(
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["shown"] = lambda value: shown(str(value))
    return environment.from_string((files("nesting.report.html") / "templates" / name).read_text(encoding="utf-8"))


def rendered(name: str, **values: Any) -> str:
    """The template of that name with these values; they are escaped unless the template trusts them."""
    return str(_template(name).render(**values))


def rendered_macro(name: str, macro: str, value: Any) -> str:
    """What a macro of the template of that name makes of the value."""
    return str(getattr(_template(name).module, macro)(value))


def plain(value: Any) -> Any:
    """The value as JSON holds it: dataclasses as objects, tuples as lists."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    return value


def style() -> str:
    """The style sheet that all pages share."""
    return (files("nesting.report.html") / "templates" / "report.css").read_text(encoding="utf-8")
