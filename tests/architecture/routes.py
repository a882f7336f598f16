"""Every route of the project with what it lets whom do, read from the URL map."""

from __future__ import annotations

import functools
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.urls import URLPattern, get_resolver

from shop.config.management.commands import openapi

METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
_NOT_SAID = object()


@dataclass(frozen=True)
class Route:
    path: str  # "/cards/<card>/stages/<pk>/"
    name: str
    api: bool
    rights: dict[str, str | None]  # right by method; None: open to anyone
    named: bool  # whether every handler says its right, or None, itself

    def __str__(self) -> str:
        return self.path

    @property
    def placeholders(self) -> list[str]:
        return re.findall(r"<(\w+)>", self.path)

    @property
    def open(self) -> bool:
        return set(self.rights.values()) <= {None}


def _plain(pattern: str) -> str:
    """The pattern without its syntax: placeholders as <name>."""
    pattern = re.sub(r"\(\?P<(\w+)>[^()]*(\([^()]*\))?[^()]*\)", r"<\1>", pattern)
    return re.sub(r"<\w+:(\w+)>", r"<\1>", pattern).replace("\\", "").replace("^", "").replace("$", "")


def _walk(resolver: Any, before: str = "", namespace: str = "") -> Iterator[tuple[str, str, Any]]:
    for entry in resolver.url_patterns:
        path = before + str(entry.pattern)
        if isinstance(entry, URLPattern):
            yield path, namespace + (entry.name or ""), entry.callback
        else:
            yield from _walk(entry, path, namespace + (f"{entry.namespace}:" if entry.namespace else ""))


def _route(path: str, name: str, callback: Any) -> Route:
    handlers: dict[str, Any]
    if names := getattr(callback, "actions", None):
        handlers = {method.upper(): getattr(callback.cls, handler) for method, handler in names.items()}
    else:
        handlers = dict.fromkeys(getattr(callback, "methods", ("GET",)), getattr(callback, "view_class", callback))
    said = {method: getattr(handler, "right", _NOT_SAID) for method, handler in handlers.items()}
    return Route(
        "/" + _plain(path), name, path.startswith("api/v1/"),
        {method: None if right is _NOT_SAID else right for method, right in said.items()},
        _NOT_SAID not in said.values(),
    )  # fmt: skip


def all_routes(resolver: Any = None) -> list[Route]:
    return [_route(*found) for found in _walk(resolver or get_resolver())]


def api_callbacks() -> Iterator[Any]:
    """The views of the API's routes, with their `actions` and `cls`."""
    for _, _, callback in _walk(get_resolver()):
        if hasattr(callback, "actions"):
            yield callback


@functools.cache
def needed_in_query(path: str) -> tuple[str, ...]:
    """Parameters without which a list answers nothing."""
    operations = json.loads(Path(openapi.PATH).read_text())["paths"].get(path, {})
    asked = operations.get("get", {}).get("parameters", ())
    return tuple(p["name"] for p in asked if p["in"] == "query" and p.get("required"))
