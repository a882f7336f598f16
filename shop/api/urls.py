"""/api/v1/: every room's routes, and below it the description and the problem pages."""

from __future__ import annotations

from typing import Any

from django.urls import URLPattern, include, path, re_path
from rest_framework.routers import Route, SimpleRouter

_ONE = Route(
    url=r"^{prefix}{trailing_slash}$",
    mapping={"get": "retrieve", "patch": "partial_update"},
    name="{basename}",
    detail=False,
    initkwargs={},
)


class Router(SimpleRouter):
    """Rooms register here from their `api.register(router)`. A resource with `single = True` (the business, me) has one
    record and no id in its address."""

    include_format_suffixes = False

    def get_routes(self, viewset: Any) -> list[Any]:
        routes = super().get_routes(viewset)
        if getattr(viewset, "single", False):
            return [_ONE, *[r for r in routes if r.name not in ("{basename}-list", "{basename}-detail")]]
        return routes


def build(rooms: list) -> list:
    """The routes of all rooms, those of one resource below its name: a request tries the names, not every route."""
    router = Router(use_regex_path=True)
    for room in rooms:
        room.register(router)
    found: dict[str, list[URLPattern]] = {}
    for route in router.urls:
        name, slash, rest = str(route.pattern).removeprefix("^").partition("/")
        view: Any = route.callback
        below = re_path(f"^{rest}", view, route.default_args, route.name)
        found.setdefault(name + slash, []).append(below)
    return [path(name, include(routes)) for name, routes in found.items()]
