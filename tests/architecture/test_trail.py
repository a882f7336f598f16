"""Every action says who did what: it records a trail row, or calls an action that does."""

from __future__ import annotations

import ast
from collections.abc import Iterable

from .code import Source, sources

EXEMPT = {
    "inventory.parts.actions.parts.fix_units": "not a thing a person does: the movement or plan line it is called for tells",
    "inventory.stock.actions.reserving.hold": "a lock alone: what is done inside it tells",
}

Name = tuple[str, str]  # module and function


def actions(found: Iterable[Source]) -> list[Source]:
    return [s for s in found if s.path.endswith("/actions.py") or "/actions/" in s.path]


def called(source: Source, function: ast.FunctionDef) -> set[Name]:
    """What a function calls or hands on, by the module where it is written as far as its imports tell."""
    known = {here: (module, name) for module, name, here in source.imports()}
    found = set()
    for node in ast.walk(function):
        if isinstance(node, ast.Name):
            found.add(known.get(node.id, (source.module, node.id)))
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            module, name = known.get(node.value.id, ("", ""))
            found.add((f"{module}.{name}" if name else module, node.attr))
    return found


def silent(found: Iterable[Source]) -> list[str]:
    """Public actions that record nothing, neither they themselves nor by what they call."""
    files = {s.module: s for s in found}
    acting = {s.module for s in actions(files.values())}
    functions = {(m, f.name): f for m, s in files.items() for f in s.tree.body if isinstance(f, ast.FunctionDef)}
    handed_on = {(m, here): (module, name) for m, s in files.items() for module, name, here in s.imports()}
    calls = {name: called(files[name[0]], function) for name, function in functions.items()}

    def where(name: Name) -> Name:
        seen: set[Name] = set()
        while name not in functions and name in handed_on and name not in seen:  # a package's __init__ hands it on
            seen.add(name)
            name = handed_on[name]
        return name

    telling = {name for name, its in calls.items() if ("shop.trail.record", "record") in its}
    calls = {name: {where(c) for c in its} for name, its in calls.items()}
    while more := {n for n, its in calls.items() if n not in telling and its & telling}:
        telling |= more
    public = {
        name
        for name, function in functions.items()
        if name[0] in acting
        and not name[1].startswith("_")
        and any(ast.unparse(d).split("(")[0] == "writes" for d in function.decorator_list)
    }
    return sorted(".".join(name) for name in public - telling)


def test_every_action_leaves_a_trail():
    found = set(silent(sources()))
    assert found - set(EXEMPT) == set(), "record(by, ...) what was done"
    assert set(EXEMPT) - found == set(), "records now: take it off the list"


def test_an_action_without_a_trail_is_found():
    head = "from shop.trail.record import record\nfrom shop.kernel.writing import writes\n"
    low = Source("jobs/low/actions/work.py", head + "@writes\ndef told(): record()\n@writes\ndef silent(): pass\n")
    front = Source("jobs/low/actions/__init__.py", "from .work import silent, told\n")
    high = "from jobs.low import actions as low\n@writes\ndef quiet(): low.silent()\n@writes\ndef loud(): _more()\n"
    top = Source("jobs/high/actions.py", high + "def _more(): low.told()\n")
    assert silent([low, front, top]) == ["jobs.high.actions.quiet", "jobs.low.actions.work.silent"]


def test_most_of_the_house_was_looked_at():
    names = [f for s in actions(sources()) for f in s.tree.body if isinstance(f, ast.FunctionDef) and f.decorator_list]
    assert len(names) > 150
