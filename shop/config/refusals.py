"""What the rooms refuse, read from their source: each `code` with the sentence it comes with. For the problem pages."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

AREAS = ("shop", "inventory", "jobs")
STATUS = {
    "BadInput": 400, "field_error": 400, "Refused": 409, "NeedsOverride": 409, "NotFound": 404, "NotAllowed": 403,
    "Stale": 412, "TooMany": 429,
}  # fmt: skip
GAP = "…"  # what the case fills in


def collect(root: Path) -> dict[str, dict]:
    """{code: {"status", "says": sentences with gaps, "rooms"}} of every error made with a code of its own."""
    found: dict[str, dict] = {}
    for area in AREAS:
        for path in sorted((root / area).rglob("*.py")):
            if "migrations" in path.parts:
                continue
            room = path.relative_to(root / area).parts[0]
            for code, status, sentence in _made_in(ast.parse(path.read_text())):
                entry = found.setdefault(code, {"status": status, "says": [], "rooms": []})
                if sentence and sentence not in entry["says"]:
                    entry["says"].append(sentence)
                if room not in entry["rooms"]:
                    entry["rooms"].append(room)
    return found


def _made_in(tree: ast.Module) -> Iterator[tuple[str, int, str]]:
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name) or node.func.id not in STATUS:
            continue
        code = next((k.value for k in node.keywords if k.arg == "code"), None)
        if isinstance(code, ast.Constant) and isinstance(code.value, str):
            said = node.args[1 if node.func.id == "field_error" else 0 :]
            sentence = _words(said[0]) if said else ""
            yield code.value, STATUS[node.func.id], "" if sentence.strip(f"{GAP} ") == "" else sentence


def _words(node: ast.expr) -> str:
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(_words(part) for part in node.values)
    if isinstance(node, ast.BinOp):
        return _words(node.left) + _words(node.right)
    return GAP
