"""Findings and refusals are data: each has a code, the codes are listed, and nothing decides by reading prose."""

from __future__ import annotations

import ast
import importlib.util
import pickle
import re
from pathlib import Path

import pytest

from nesting.model.errors import CannotLayError, NestingError, OrderError
from nesting.model.findings import Finding

ROOT = Path(__file__).resolve().parent.parent
_spec = importlib.util.spec_from_file_location("list_codes", ROOT / "scripts" / "list_codes.py")
assert _spec is not None and _spec.loader is not None
list_codes = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(list_codes)

#: What looks into a text.
READERS = {
    *("startswith", "endswith", "removeprefix", "removesuffix"),
    *("partition", "find", "index", "search", "match", "sub"),
}

#: The classes whose makers must give a code.
MADE = {
    "Finding",
    "NestingError",
    "InputError",
    "OrderError",
    "PatternError",
    "UnitsError",
    "CannotLayError",
    "InternalError",
    "ProofError",
}


def _calls() -> list[tuple[Path, ast.Call, str]]:
    found = []
    for path in sorted((ROOT / "nesting").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                f = node.func
                name = f.id if isinstance(f, ast.Name) else f.attr if isinstance(f, ast.Attribute) else ""
                found.append((path, node, name))
    return found


def test_the_table_in_developers_md_is_up_to_date() -> None:
    """The table is what the code makes."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert list_codes.written(text) == text, "run: python scripts/list_codes.py --write"


def test_every_finding_and_refusal_has_a_code() -> None:
    """No place makes one without saying which it is."""
    without = [
        f"{path.relative_to(ROOT)}:{call.lineno}"
        for path, call, name in _calls()
        if name in MADE and not any(k.arg in ("code", None) for k in call.keywords)
    ]
    assert without == []


def test_codes_are_written_alike() -> None:
    """A subject, a dot, and what it is, in lower case."""
    codes = {code for code, _, _ in list_codes.uses()}
    assert len(codes) > 100
    assert [c for c in codes if not re.fullmatch(r"[a-z]+(-[a-z]+)*\.[a-z]+(-[a-z]+)*", c)] == []


def test_nothing_decides_by_reading_a_message() -> None:
    """No comparison, and no search, looks into what is written for people: a message, a reason, words of a row."""
    reads = []
    for path in sorted((ROOT / "nesting").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            compares = isinstance(node, ast.Compare) and not all(isinstance(op, ast.Is | ast.IsNot) for op in node.ops)
            looks = isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in READERS
            words = ast.unparse(node) if compares or looks else ""
            told = r"\.(message|\w*reason|\w*_words)\b"
            if "page" not in path.parts:  # the page asks of two problems whether they are the same one
                told += r"|str\((failure|finding|error|f|e)\)"
            if re.search(told, words):
                reads.append(f"{path.relative_to(ROOT)}:{node.lineno}: {words}")
    assert "\n".join(reads) == ""


def test_a_finding_says_in_json_what_where_and_how_much() -> None:
    """Code, figures and place come with the words."""
    finding = Finding("warning", "too long", "a.svg", "front", code="seam.mismatch", figures={"difference": 3.5})
    shown = finding.as_dict()
    assert shown["code"] == "seam.mismatch" and shown["figures"] == {"difference": 3.5}
    assert (shown["file"], shown["piece"], shown["kind"], shown["message"]) == ("a.svg", "front", "warning", "too long")
    assert len({finding, finding}) == 1


@pytest.mark.parametrize("kind", [CannotLayError, OrderError])
def test_a_refusal_keeps_its_code_and_figures_between_processes(kind: type[NestingError]) -> None:
    """Workers raise these: pickling loses nothing."""
    error = kind("no", file="f", piece="p", key="k", code="cloth.too-short", figures={"missing": 12.5})
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is kind and again.as_dict() == error.as_dict()
    assert again.code == "cloth.too-short" and again.figures == {"missing": 12.5}
