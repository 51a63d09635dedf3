"""The two walls, one-way imports, and the public names."""

from __future__ import annotations

import ast
from pathlib import Path

import nesting

ROOT = Path(__file__).parents[1] / "nesting"


def imports() -> dict[str, set[str]]:
    """Module name -> nesting modules that it imports, at the top or inside functions."""
    found: dict[str, set[str]] = {}
    for path in ROOT.rglob("*.py"):
        parts = path.relative_to(ROOT.parent).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        wanted: set[str] = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "nesting":
                wanted.add(node.module)
                wanted |= {f"{node.module}.{alias.name}" for alias in node.names}
            elif isinstance(node, ast.Import):
                wanted |= {alias.name for alias in node.names if alias.name.split(".")[0] == "nesting"}
        found[name] = wanted
    return {name: {w for w in wanted if w in found and w != name} for name, wanted in found.items()}


def test_packing_imports_nothing_of_the_rest() -> None:
    """Wall 1: the optimiser knows no sewing."""
    for name, wanted in imports().items():
        if name.startswith("nesting.packing"):
            assert all(w.startswith("nesting.packing") for w in wanted), name


def test_proof_shares_no_geometry_with_the_search() -> None:
    """Wall 2: the proof imports neither the optimiser nor the planner, nor the spreads they use."""
    for name, wanted in imports().items():
        if name.startswith("nesting.proof"):
            forbidden = ("nesting.packing", "nesting.planning", "nesting.cloth", "nesting.report")
            assert not [w for w in wanted if w.startswith(forbidden)], name


def test_only_the_cutting_list_asks_the_order_for_its_pieces() -> None:
    """All but the proof receive the order resolved: none of them looks a piece, its cloth or its partner up there, and
    what they receive is not called an order."""
    for room in ("checking", "planning", "report", "session", "cli"):
        for path in (ROOT / room).rglob("*.py"):
            nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
            looked_up = {node.attr for node in nodes if isinstance(node, ast.Attribute)}
            called = {node.id for node in nodes if isinstance(node, ast.Name)}
            assert not looked_up & {"cut_piece", "cloth_of", "wearer_of"} and "agreement" not in called, path
            typed = {n.arg: n.annotation for n in nodes if isinstance(n, ast.arg) and n.annotation is not None}
            typed |= {ast.unparse(n.target): n.annotation for n in nodes if isinstance(n, ast.AnnAssign)}
            assert "order" not in typed or "CuttingList" not in ast.unparse(typed["order"]), path


def test_no_module_imports_itself_round_a_corner() -> None:
    """There is no cycle among the modules, counting imports inside functions as well."""
    graph = {name: {w for w in wanted if w != "nesting"} for name, wanted in imports().items() if name != "nesting"}
    packages = {name for name in graph if (ROOT.parent / Path(*name.split("."))).is_dir()}
    done: set[str] = set()

    def visit(name: str, path: tuple[str, ...]) -> None:
        assert name not in path, " -> ".join((*path[path.index(name) :], name))
        if name in done:
            return
        for wanted in sorted(graph[name]):
            # a module may import its own package's siblings by way of the package's name
            if wanted in packages and name.startswith(wanted + "."):
                continue
            visit(wanted, (*path, name))
        done.add(name)

    for name in sorted(graph):
        visit(name, ())


#: Python documents these, whatever their names begin with.
NOT_PRIVATE = {"_exit", "_replace"}
#: reportlab has no other means to give a form its graphics states.
NO_OTHER_MEANS = {"_extgstate": "report/print/paged.py"}


def test_no_private_attribute_of_a_library() -> None:
    """Every attribute that begins with an underscore is one that this program itself defines."""
    ours: set[str] = set()
    used: dict[str, set[str]] = {}
    for path in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                ours.add(node.name)
            elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
                ours.add(node.id)
            elif isinstance(node, ast.Attribute) and node.attr.startswith("_") and not node.attr.endswith("__"):
                if isinstance(node.ctx, ast.Store):
                    ours.add(node.attr)
                used.setdefault(node.attr, set()).add(str(path.relative_to(ROOT)))
    theirs = {name: where for name, where in used.items() if name not in ours | NOT_PRIVATE}
    assert theirs == {name: {where} for name, where in NO_OTHER_MEANS.items()}


def test_public_names() -> None:
    """Everything in ``__all__`` can be had, in alphabetical order, and is documented."""
    assert sorted(nesting.__all__) == nesting.__all__
    for name in nesting.__all__:
        assert getattr(nesting, name).__doc__, name


def test_every_module_says_what_it_is_for() -> None:
    """Each module begins with a docstring."""
    for path in ROOT.rglob("*.py"):
        assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))), path


#: Lines of a function without its docstring, and its branches (as ruff's PLR0912 counts them).
MOST_LINES, MOST_BRANCHES = 65, 15


def _branches(function: ast.AST) -> int:
    """if, elif, else, for, while, except and case, those of inner functions included."""
    number = 0
    for node in ast.walk(function):
        if isinstance(node, ast.If):
            follows = len(node.orelse) == 1 and isinstance(node.orelse[0], ast.If)
            number += 1 + bool(node.orelse and not follows)
        elif isinstance(node, ast.For | ast.While):
            number += 1 + bool(node.orelse)
        elif isinstance(node, ast.Try):
            number += len(node.handlers) + bool(node.orelse) + bool(node.finalbody) + 1
        elif isinstance(node, ast.Match):
            number += len(node.cases)
    return number


def test_a_long_function_has_its_reason_above_it() -> None:
    """What is longer, or branches more, has a comment "# long: …" above it, and nothing else has one."""
    wrong = []
    for path in sorted(ROOT.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        lines, reasons = text.splitlines(), set()
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                first = node.body[0]
                said = first.end_lineno - first.lineno + 1 if ast.get_docstring(node) else 0
                long = node.end_lineno - node.lineno + 1 - said > MOST_LINES or _branches(node) > MOST_BRANCHES
                above = min([node.lineno, *(d.lineno for d in node.decorator_list)]) - 2
                if lines[above].strip().startswith("# long: "):
                    reasons.add(above)
                if long != (above in reasons):
                    wrong.append(f"{path.relative_to(ROOT)}:{node.lineno} {node.name}")
        stray = {k for k, line in enumerate(lines) if line.strip().startswith("# long: ")} - reasons
        wrong += [f"{path.relative_to(ROOT)}:{k + 1} reason without a function" for k in stray]
    assert wrong == []
