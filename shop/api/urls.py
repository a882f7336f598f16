"""/api/v1/: every room's routes, and below it the description and the problem pages."""

from __future__ import annotations

from rest_framework.routers import SimpleRouter


class Router(SimpleRouter):
    """Rooms register here from their `api.register(router)`."""

    include_format_suffixes = False


def build(rooms: list) -> list:
    router = Router(use_regex_path=True)
    for room in rooms:
        room.register(router)
    return router.urls
