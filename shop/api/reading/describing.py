"""The description (OpenAPI 3.1) turned into what a reference page shows. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from shop.kernel.rights import RIGHTS

Described = Mapping[str, Any]


@dataclass(frozen=True)
class Field:
    name: str
    words: str  # what it takes
    required: bool
    help: str


@dataclass(frozen=True)
class Operation:
    id: str
    method: str
    path: str
    tag: str
    summary: str
    description: str
    right: str
    roles: tuple[str, ...]
    parameters: tuple[Field, ...]
    body: tuple[Field, ...]
    answer: tuple[Field, ...]
    many: bool  # a page of them
    statuses: tuple[tuple[str, str], ...]


def operations(description: Described) -> list[Operation]:
    """All operations in the order of their paths."""
    found = []
    for path, methods in description["paths"].items():
        for method, raw in methods.items():
            answer, many = _answer(raw, description)
            right = raw.get("x-right", "")
            found.append(
                Operation(
                    id=raw["operationId"], method=method.upper(), path=path, tag=raw["tags"][0],
                    summary=raw.get("summary", ""), description=raw.get("description", ""),
                    right=right, roles=tuple(sorted(RIGHTS.get(right, ()))),
                    parameters=tuple(_parameter(p, description) for p in raw.get("parameters", ())),
                    body=tuple(_fields(_body(raw), description)), answer=tuple(_fields(answer, description)), many=many,
                    statuses=tuple((s, r.get("description", "")) for s, r in sorted(raw["responses"].items())),
                )
            )  # fmt: skip
    return found


def by_tag(found: list[Operation]) -> dict[str, list[Operation]]:
    tags: dict[str, list[Operation]] = {}
    for operation in found:
        tags.setdefault(operation.tag, []).append(operation)
    return dict(sorted(tags.items()))


def _parameter(raw: Described, description: Described) -> Field:
    where = {"query": "query", "header": "header", "path": "path"}[raw["in"]]
    words = f"{where}; {words_of(raw.get('schema', {}), description)}"
    return Field(raw["name"], words, bool(raw.get("required")), raw.get("description", ""))


def _body(raw: Described) -> Described:
    content = raw.get("requestBody", {}).get("content", {})
    return next((c.get("schema", {}) for c in content.values()), {})


def _answer(raw: Described, description: Described) -> tuple[Described, bool]:
    good: Described = next((r for s, r in sorted(raw["responses"].items()) if s.startswith("2")), {})
    schema = _resolved(good.get("content", {}).get("application/json", {}).get("schema", {}), description)
    items = schema.get("properties", {}).get("items")
    if items and "next" in schema["properties"]:
        return items["items"], True
    return schema, False


def _resolved(schema: Described, description: Described) -> Described:
    seen = 0
    while "$ref" in schema and seen < 10:
        schema, seen = description["components"]["schemas"][schema["$ref"].rsplit("/", 1)[-1]], seen + 1
    if len(schema.get("allOf", ())) == 1:
        return _resolved(schema["allOf"][0], description)
    return schema


def _fields(schema: Described, description: Described) -> Iterator[Field]:
    shape = _resolved(schema, description)
    required = set(shape.get("required", ()))
    for name, raw in shape.get("properties", {}).items():
        yield Field(name, words_of(raw, description), name in required, raw.get("description", ""))


def words_of(raw: Described, description: Described) -> str:
    """What a value must be, in words."""
    schema = _resolved(raw, description)
    options = schema.get("oneOf") or schema.get("anyOf")
    if options:
        return " or ".join(dict.fromkeys(words_of(o, description) for o in options))
    kinds = schema.get("type", "")
    kinds = [kinds] if isinstance(kinds, str) else list(kinds)
    null = " or null" if "null" in kinds else ""
    kind = next((k for k in kinds if k != "null"), "")
    if schema.get("enum"):
        return "one of " + ", ".join(str(e) for e in schema["enum"] if e not in ("", None)) + null
    if kind == "array":
        return f"list of {words_of(schema.get('items', {}), description)}{null}"
    if kind == "object":
        inner = ", ".join(schema.get("properties", {}))
        return (f"object ({inner})" if inner else "object") + null
    return _scalar(kind, schema) + null


def _scalar(kind: str, schema: Described) -> str:
    if kind == "string":
        shown = {
            "date": "date YYYY-MM-DD",
            "date-time": "time with offset",
            "email": "mail address",
            "uri-reference": "link",
        }
        words = shown.get(schema.get("format", ""), "text")
        if "[0-9]" in schema.get("pattern", "") and schema["pattern"].startswith(("^-?[0-9]", "^[0-9]")):
            words = "decimal as text" if r"\." in schema["pattern"] else "digits"
        if schema.get("maxLength"):
            words += f", at most {schema['maxLength']} characters"
        return words
    if kind in ("integer", "number"):
        low, high = schema.get("minimum"), schema.get("maximum")
        bounds = "" if low is None and high is None else f" {'' if low is None else low}…{'' if _huge(high) else high}"
        return "whole number" + (bounds if not (_huge(low) and _huge(high)) else "")
    return {"boolean": "true or false", "": "anything"}.get(kind, kind)


def _huge(bound: Any) -> bool:
    return bound is None or abs(bound) >= 2**31 - 1
