"""Every document of the demo can be had, and has the parts that its type promises."""

from __future__ import annotations

import typing

import pytest

from nesting.page import documents
from tests.page.conftest import Server

DOCS = {
    "state": documents.StateDoc, "pieces": documents.PiecesDoc, "seams": documents.SeamsDoc,
    "alterations": documents.AlterationsDoc, "cloth": documents.ClothsDoc, "lay": documents.LayDoc,
    "buy": documents.BuyDoc, "remnants": documents.AnswerDoc, "batch": documents.AnswerDoc, "cut": documents.CutDoc,
}  # fmt: skip


@pytest.mark.parametrize("name", DOCS)
def test_every_document_has_its_parts(demo: Server, name: str) -> None:
    """Of the demo's order, nothing laid yet."""
    assert set(demo.get(name)) == set(typing.get_type_hints(DOCS[name]))


@pytest.mark.parametrize("name", DOCS)
def test_an_empty_folder_has_documents_too(empty: Server, name: str) -> None:
    """Before anything was dropped."""
    assert set(empty.get(name)) == set(typing.get_type_hints(DOCS[name]))
