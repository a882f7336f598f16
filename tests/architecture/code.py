"""The project's own Python, read as syntax trees."""

from __future__ import annotations

import ast
import functools
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[2]
AREAS = ("shop", "inventory", "jobs")


@dataclass(frozen=True)
class Source:
    path: str  # from the root, "jobs/cards/api.py"
    text: str = field(repr=False)

    @functools.cached_property
    def tree(self) -> ast.Module:
        return ast.parse(self.text)

    @property
    def module(self) -> str:
        return self.path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")

    @property
    def package(self) -> str:
        return self.module if self.path.endswith("/__init__.py") else self.module.rpartition(".")[0]

    def imports(self) -> Iterator[tuple[str, str, str]]:
        """(module, name in it or "", name here) of every import."""
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Import):
                for alias in node.names:
                    yield alias.name, "", alias.asname or alias.name
            elif isinstance(node, ast.ImportFrom):
                base = self.package.split(".")
                base = base[: len(base) - node.level + 1] if node.level else []
                module = ".".join([*base, *([node.module] if node.module else [])])
                for alias in node.names:
                    yield module, alias.name, alias.asname or alias.name


@functools.cache
def sources(*tops: str) -> tuple[Source, ...]:
    """Every file below these folders (all areas when none is named), without migrations."""
    found = [p for top in tops or AREAS for p in sorted((ROOT / top).rglob("*.py")) if "migrations" not in p.parts]
    return tuple(Source(p.relative_to(ROOT).as_posix(), p.read_text()) for p in found)
