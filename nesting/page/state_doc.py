"""What stands round every view: the order, undo and redo, why not to cut yet."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version
from typing import Any

from nesting.checking.judging import small_length
from nesting.model.errors import NestingError
from nesting.page.cloth_doc import garments_of, wearers_of
from nesting.page.documents import Blocker, FileDoc, FindingDoc, StateDoc
from nesting.page.survey import Survey
from nesting.page.words import finding_doc, pointed, problem_of
from nesting.page.workspace import Workspace

__all__ = ["blockers_of", "files_of", "state_doc", "tool_version"]

_MISSING = {
    "pattern": ("drop your pattern files here: nothing is drawn yet", "pieces"),
    "cloth": ("say what cloth there is: its width, at least", "cloth"),
    "garment": ("say what to cut, and how many", "cloth"),
}
#: findings that have a line of their own among the reasons
_TOLD = {"seam.mismatch", "seam.notch-apart", "together.differs"}


def tool_version() -> str:
    """The version of the program."""
    try:
        return version("nesting")
    except PackageNotFoundError:
        return "unknown"


def blockers_of(survey: Survey) -> list[Blocker]:
    """Every reason not to cut yet."""
    found: list[Blocker] = []
    for kind in survey.missing:
        message, view = _MISSING[kind]
        found.append({"message": message, "where": {"view": view}})  # type: ignore[typeddict-item]
    problems: list[tuple[NestingError, dict[str, Any]]] = [
        (error, {"view": "pieces"}) for error in survey.pattern_problems.values()
    ]
    problems += [
        (error, {"view": "pieces", "piece": key[0]})
        for key, error in survey.piece_problems.items()
        if _cut(survey, key)
    ]
    if survey.problem is not None:
        problems.append((survey.problem, {}))
    for error, where in problems:
        doc = problem_of(error, **where)
        found.append({"message": doc["message"], "where": doc["where"]})
    check = survey.check
    if check is not None:
        for number, line in enumerate(check.seams):
            size = f" (size {line.size})" if line.size else ""
            told = [one for one in line.walked.told(lambda mm: small_length(mm, survey.imperial)) if one.forbids]
            for one in told[:1]:
                index = next((i for i, s in enumerate(_order_seams(survey)) if s == line.seam), number)
                found.append({"message": one.message + size, "where": {"view": "seams", "seam": index}})
        for pair in check.together:
            if not pair.fits.agrees:
                message = f"'{pair.rule.follower}' does not go along with '{pair.rule.leader}'"
                found.append({"message": message, "where": {"view": "pieces", "piece": pair.rule.follower}})
        order_findings = survey.order.findings if survey.order is not None else ()
        for finding in (*order_findings, *check.findings):
            # seams and pairs are told above, each with its place
            if finding.forbids and finding.code not in _TOLD:
                doc_of = finding_doc(finding)
                found.append({"message": doc_of["message"], "where": doc_of["where"]})
    found = [{**b, "where": pointed(b["where"], survey.by_label)} for b in found]
    seen: set[str] = set()
    return [b for b in found if not (b["message"] in seen or seen.add(b["message"]))]  # type: ignore[func-returns-value]


def _order_seams(survey: Survey) -> tuple[Any, ...]:
    order = survey.order or survey.assumed
    return order.seams if order is not None else ()


def _cut(survey: Survey, key: tuple[str, str | None]) -> bool:
    garments = survey.blocks.get("garment", [])
    if not garments:
        return True
    return any(
        ((block["pieces"] is None or key[0] in block["pieces"]) and block["size"] in (None, key[1])) or key[1] is None
        for block in garments
    )


def files_of(survey: Survey) -> list[FileDoc]:
    """The pattern files."""
    docs: list[FileDoc] = []
    for index, raw in enumerate(one for one in survey.document.get("pattern", []) if isinstance(one, dict)):
        name = str(raw.get("file", ""))
        findings = [finding_doc(f) for f in survey.file_findings.get(index, ())]
        for one in findings:
            one["where"] = pointed(one["where"], survey.by_label)
        error = survey.pattern_problems.get(index)
        if error is not None:
            doc = problem_of(error, view="pieces", file=name)
            asked: FindingDoc = {"kind": "question", "message": doc["message"], "where": doc["where"]}
            if "open" in doc:
                asked["open"] = doc["open"]
            findings.insert(0, asked)
        pieces = sum(one.piece.file == name for one in survey.drawn.values())
        docs.append(
            {
                "index": index,
                "file": name,
                "size": raw.get("size"),
                "units": raw.get("units"),
                "pages": _several(raw.get("pages")),
                "layers": _several(raw.get("layer")),
                "pieces": pieces,
                "findings": findings,
            }
        )
    return docs


def _several(value: Any) -> list[Any] | None:
    return value if value is None or isinstance(value, list) else [value]


def state_doc(work: Workspace, live: dict[str, Any]) -> StateDoc:
    """The state; ``live`` holds what only the running server knows: run, warm, tabs, command, demo."""
    survey = work.survey
    problem = survey.problem
    history = work.history
    return {
        "rev": work.rev,
        "order": {"file": str(work.path), "name": work.path.name, "folder": str(work.folder),
                  "exists": work.path.is_file()},
        "readable": survey.order is not None,
        "problem": problem_of(problem) if problem is not None else None,
        "title": str(survey.document.get("title", work.path.stem)),
        "units": survey.units,
        "files": files_of(survey),
        "garments": garments_of(survey),
        "sizes": list(dict.fromkeys(key[1] for key in survey.drawn if key[1] is not None)),
        "wearers": [one["name"] for one in wearers_of(survey)],
        "cloths": [str(one.get("name")) for one in survey.document.get("cloth", []) if isinstance(one, dict)],
        "undo": {"label": history.can_undo} if history.can_undo is not None else None,
        "redo": {"label": history.can_redo} if history.can_redo is not None else None,
        "blockers": blockers_of(survey),
        "run": live["run"],
        "warm": live["warm"],
        "disk": {"changed": work.foreign is not None, "files": [work.path.name] if work.foreign is not None else []},
        "tabs": live["tabs"],
        "command": live["command"],
        "results": work.relative(work.results),
        "demo": live["demo"],
        "version": tool_version(),
    }  # fmt: skip
