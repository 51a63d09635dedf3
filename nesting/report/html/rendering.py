"""Templates of the report, filled in."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

from nesting.report.drawing.fonts import shown

__all__ = ["macros", "rendered", "style"]


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


def macros(name: str) -> Any:
    """The template's macros, as functions."""
    return _template(name).module


def style() -> str:
    """The style sheet that all pages share."""
    return (files("nesting.report.html") / "templates" / "report.css").read_text(encoding="utf-8")
