"""The OpenAPI 3.1 description, made from what the kit knows of each view."""

from __future__ import annotations

import inspect
from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension, OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema

from . import problems
from .fields import Body, Out, Query

PROBLEM = {
    "type": "object",
    "description": "RFC 9457 problem details.",
    "required": ["type", "title", "status", "detail", "request_id"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference", "examples": ["/api/problems/refused"]},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "What happened, why, and what to do."},
        "request_id": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["pointer", "detail"],
                "properties": {
                    "pointer": {"type": "string", "description": "JSON pointer of the field"},
                    "detail": {"type": "string"},
                },
            },
        },
        "facts": {"type": "object", "additionalProperties": True},
    },
}
_KIT_WORDS = {" ".join((cls.__doc__ or "").split()) for cls in (Body, Out, Query)}
ALWAYS = (400, 401, 403, 404, 405, 406, 429, 500, 503)
BY_KIND = {
    "list": (),
    "read": (),
    "post": (409, 413, 415, 422, 507),
    "many": (409, 413, 415, 422, 507),
    "verb": (409, 413, 415, 422, 507),
    "edit": (409, 412, 413, 415, 428, 507),
    "remove": (409, 412, 428, 507),
    "upload": (409, 413, 415, 422, 507),
    "file": (),
}


class _Token(OpenApiAuthenticationExtension):
    target_class = "shop.people.authentication.ByToken"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        return {"type": "http", "scheme": "bearer", "description": "A personal API token."}


class _Session(OpenApiAuthenticationExtension):
    target_class = "shop.api.auth.BySession"
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> list[Any]:
        return []  # the staff pages' own calls; not offered to programs


class _Number(OpenApiSerializerFieldExtension):
    """A decimal as text, by the very pattern that the field checks."""

    target_class = "shop.api.fields.Number"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        pattern = self.target.pattern if direction == "request" else r"^-?[0-9]+(\.[0-9]+)?$"
        return {"type": "string", "pattern": pattern}


class Schema(AutoSchema):
    view: Any

    @property
    def _kit(self) -> dict[str, Any]:
        return getattr(getattr(self.view, self.view.action or "", None), "kit", {}) or {}

    def get_operation_id(self) -> str:
        return f"{self.view.basename}-{self.view.action}".replace("_", "-")

    def get_summary(self) -> str:
        kind = self._kit.get("kind", "read")
        thing = self.view.kind.replace("-", " ") or "record"
        plain = {
            "list": f"List: {self.view.basename.replace('-', ' ')}", "read": f"Read one {thing}",
            "post": f"Add a {thing}", "upload": f"Add a {thing}", "edit": f"Change a {thing}",
            "remove": f"Put a {thing} away",
        }  # fmt: skip
        routed = getattr(getattr(self.view, self.view.action or "", None), "url_path", "")
        if routed or kind not in plain:
            return f"{thing}: {(routed or self.view.action).replace('-', ' ').replace('_', ' ')}".capitalize()
        return plain[kind].replace("Read one", "Read the") if self.view.single and kind == "read" else plain[kind]

    def get_description(self) -> str:
        """What the method itself says; the class speaks for the tag."""
        method = getattr(self.view, self.view.action or "", None)
        return inspect.cleandoc(getattr(method, "__doc__", None) or "")

    def get_tags(self) -> list[str]:
        return [self.view.basename]

    def get_serializer_name(self, serializer: Any, direction: Any) -> str:
        """Two rooms may each have a StageOut: the room's name goes in front."""
        made_in = type(serializer).__module__.split(".")
        name = super().get_serializer_name(serializer, direction)
        room = made_in[1] if len(made_in) > 2 else ""
        shown = room.capitalize()
        return name if room in ("", "api") or name.startswith(shown) else shown + name

    def _out(self) -> Any:
        return self._kit.get("out") or getattr(self.view, "out", None)

    def get_response_serializers(self) -> Any:
        kind = self._kit.get("kind")
        if kind in ("remove", "file", None):
            return super().get_response_serializers()
        if kind in ("post", "verb", "many"):
            return {self._kit["status"]: self._out()}
        return self._out()

    def get_request_serializer(self) -> Any:
        kind = self._kit.get("kind")
        return self._kit.get("body") if kind in ("post", "verb", "edit", "many") else super().get_request_serializer()

    def get_filter_backends(self) -> list[Any]:
        return []

    def _is_list_view(self, serializer: Any = None) -> bool:
        return self._kit.get("kind") == "list"

    def _get_paginator(self) -> Any:
        return _KeysetShape() if self._kit.get("kind") == "list" else None

    def get_operation(self, *args: Any, **kwargs: Any) -> Any:
        operation = super().get_operation(*args, **kwargs)
        if operation is None:
            return None
        kind = self._kit.get("kind", "read")
        for status in (*ALWAYS, *BY_KIND.get(kind, ())):
            operation["responses"].setdefault(
                str(status),
                {
                    "description": problems.KINDS[problems.BY_STATUS[status]][1],
                    "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}},
                },
            )
        for status, answer in operation["responses"].items():
            if not answer.get("description"):
                answer["description"] = {"201": "Done and kept", "204": "Done"}.get(status, "As asked")
        if kind == "read":
            operation["responses"]["304"] = {"description": "Unchanged since the version named in If-None-Match"}
        right = getattr(getattr(self.view, self.view.action or "", None), "right", None)
        if right:
            operation["x-right"] = right
        return operation


class _KeysetShape:
    """Tells drf-spectacular what a keyset page looks like."""

    def get_paginated_response_schema(self, schema: Any) -> dict[str, Any]:
        link = {"type": ["string", "null"], "format": "uri-reference"}
        return {
            "type": "object",
            "required": ["items", "next", "previous"],
            "properties": {"items": schema, "next": link, "previous": link},
        }

    def get_schema_operation_parameters(self, view: Any) -> list[Any]:
        return []


def finish(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Post-processing: the Problem shape, closed request bodies, security schemes."""
    schemas = result.setdefault("components", {}).setdefault("schemas", {})
    schemas["Problem"] = PROBLEM
    wanted = set()
    for path in result["paths"].values():
        for operation in path.values():
            if isinstance(operation, dict):
                wanted |= _names(operation.get("requestBody", {}))
    seen: set[str] = set()
    while wanted:
        name = wanted.pop()
        if name in seen or name not in schemas:
            continue
        seen.add(name)
        if schemas[name].get("type") == "object":
            schemas[name].setdefault("additionalProperties", False)
        wanted |= _names(schemas[name])
    for shape in schemas.values():
        if shape.get("description", "") in _KIT_WORDS:
            del shape["description"]  # what the kit says of all bodies and answers
    _tidy(result)
    result["components"]["securitySchemes"] = {
        "token": {"type": "http", "scheme": "bearer", "description": "A personal API token."}
    }
    result["security"] = [{"token": []}]
    for path in result["paths"].values():
        for operation in path.values():
            if isinstance(operation, dict):
                operation.pop("security", None)
    return result


def _tidy(node: Any) -> None:
    """An object that may be null is written with "null" twice; JSON Schema wants each type once."""
    if isinstance(node, dict):
        if isinstance(node.get("type"), list):
            node["type"] = list(dict.fromkeys(node["type"]))
        for inner in node.values():
            _tidy(inner)
    elif isinstance(node, list):
        for inner in node:
            _tidy(inner)


def _names(node: Any) -> set[str]:
    if isinstance(node, dict):
        found = {node["$ref"].rsplit("/", 1)[-1]} if "$ref" in node else set()
        return found.union(*(_names(v) for v in node.values()))
    if isinstance(node, list):
        return set().union(*(_names(v) for v in node))
    return set()
