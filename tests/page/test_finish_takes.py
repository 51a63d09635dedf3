"""Elastic that a finish calls for is told until a trim reckons it."""

from __future__ import annotations

import pytest

from nesting.page.finish_takes import not_reckoned
from tests.page.conftest import Server

ORDER = """title = "Two panels"
units = "mm"

[[piece]]
name = "panel"
rectangle = ["330 mm", "210 mm"]
cut = 2
finish = { top = "elastic 3 cm", bottom = "fold back 2 cm" }

[[edge]]
piece = "panel"
name = "top"
from = 1
to = 2

[[edge]]
piece = "panel"
name = "bottom"
from = 3
to = 4

[[cloth]]
name = "main"
width = "1000"

[[garment]]
name = "bag"
count = 3
"""
TRIM = '\n[[trim]]\nname = "top"\nkind = "elastic"\nedges = ["panel.top"]\n'


def _told(server: Server, text: str) -> list[str]:
    server.page.work.path.write_text(text, encoding="utf-8")
    server.do("disk.reload")
    assert server.page.work.survey.order is not None, server.page.work.survey.problem
    return not_reckoned(server.page.work.survey)


def test_elastic_of_a_finish_is_told_with_the_length_of_its_edges(empty: Server) -> None:
    """Three bags with two panels: six edges; a hem takes nothing, and a trim along the edge ends it."""
    # corners 1 and 2 of a rectangle are the ends of its first side, along the grain
    said = f"elastic 3 cm for the edge top of panel: the edges are {6 * 330 / 1000:g} m long in all"
    assert _told(empty, ORDER) == [said]
    assert empty.get("buy")["unlisted"] == _told(empty, ORDER)
    assert _told(empty, ORDER + TRIM) == []


@pytest.mark.parametrize(("finish", "said"), [("bound", "binding"), ("lace 1 cm", "lace 1 cm")])
def test_so_are_binding_and_lace(empty: Server, finish: str, said: str) -> None:
    """By their own words."""
    assert [one.split(" for ")[0] for one in _told(empty, ORDER.replace("elastic 3 cm", finish))] == [said]
