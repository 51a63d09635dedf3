"""The table of codes in DEVELOPERS.md: every finding and refusal with the file that makes it and what it says.

python scripts/list_codes.py           # prints the table
python scripts/list_codes.py --write   # puts it into DEVELOPERS.md, between its two marks
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
BEGIN, END = "<!-- codes: begin (scripts/list_codes.py --write) -->", "<!-- codes: end -->"
_LONGEST = 90


def uses() -> Iterator[tuple[str, str, str]]:
    """Code, module and the first words of what is said, for each place in ``nesting/`` that gives a code."""
    for path in sorted((ROOT / "nesting").rglob("*.py")):
        where = str(path.relative_to(ROOT / "nesting"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                # what a seam tells gives its code first, then the words
                if isinstance(node.func, ast.Name) and node.func.id == "SeamTold":
                    assert isinstance(node.args[0], ast.Constant)
                    yield str(node.args[0].value), where, "seam …"
                for keyword in node.keywords:
                    if keyword.arg == "code":
                        for leaf in ast.walk(keyword.value):
                            if isinstance(leaf, ast.Constant) and isinstance(leaf.value, str):
                                yield leaf.value, where, _said(node)
            elif isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "FailureKind":
                # a failure of the proof is called by its kind
                for leaf in ast.walk(node.value):
                    if isinstance(leaf, ast.Constant):
                        yield f"proof.{leaf.value}", where, ""
            elif isinstance(node, ast.Assign) and any(
                isinstance(t, ast.Name) and t.id == "default_code" for t in node.targets
            ):
                assert isinstance(node.value, ast.Constant)
                yield str(node.value.value), where, ""


def _said(call: ast.Call) -> str:
    """The longest text among the arguments, with … for what is filled in."""
    texts = [_text(argument) for argument in call.args]
    longest = max(texts, key=len, default="")
    return longest if len(longest) <= _LONGEST else longest[: _LONGEST - 1].rstrip() + "…"


def _text(node: ast.expr) -> str:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(v.value if isinstance(v, ast.Constant) else "…" for v in node.values)
    if isinstance(node, ast.BinOp):
        return _text(node.left) + _text(node.right)
    return ""


def table() -> str:
    """The table in Markdown, one row for each code."""
    rows: dict[str, tuple[dict[str, None], str]] = {}
    for code, where, said in uses():
        files, words = rows.get(code, ({}, ""))
        files[where] = None
        rows[code] = (files, words or said)
    lines = ["| code | made in `nesting/` | says, for example |", "|---|---|---|"]
    for code, (files, words) in sorted(rows.items()):
        shown = words.replace("|", "\\|").replace("\n", " ").replace("<", "&lt;")
        lines.append(f"| `{code}` | {', '.join(files)} | {shown} |")
    return "\n".join(lines)


def written(text: str) -> str:
    """The text of DEVELOPERS.md with its table anew."""
    before, rest = text.split(BEGIN)
    return f"{before}{BEGIN}\n{table()}\n{END}{rest.split(END)[1]}"


if __name__ == "__main__":
    if "--write" in sys.argv:
        page = ROOT / "DEVELOPERS.md"
        page.write_text(written(page.read_text(encoding="utf-8")), encoding="utf-8")
    else:
        print(table())
