"""The real URLs and a room that misbehaves, for tests of the kit."""

from __future__ import annotations

from typing import Any

from django.db import DataError, OperationalError
from django.urls import include, path

from shop.api import urls as api_urls
from shop.api.bulk import posts_many
from shop.api.fields import Body, Int, Text
from shop.api.kit import Resource, lists, posts, reads
from shop.config.urls import *  # noqa: F403 - the project's, with one more
from shop.config.urls import urlpatterns as real
from shop.kernel.errors import Refused, TooMany, field_error
from shop.people.models import Person
from shop.trail.record import record

RAISES: dict[str, Exception] = {
    "broken": ValueError("SELECT secret FROM shop_people_person"),
    "too-many": TooMany("Wait.", retry_after=7),
    "unavailable": OperationalError("could not connect to server"),
    "storage-full": OperationalError("database or disk is full"),
    "bad-input": DataError("integer out of range"),
}


class OddIn(Body):
    name = Text(max_length=40)
    size = Int(required=False)


class Odd(Resource):
    kind = "person"

    @lists("home.read", orders={"name": ("name", "id")})
    def list(self, request: Any, query: Any) -> Any:
        return Person.objects.all()

    @reads("home.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        raise list(RAISES.values())[pk]

    @posts("home.read", body=OddIn)
    def create(self, request: Any, body: Any) -> Any:
        return note(request.user, **body)

    @posts_many("home.read", body=OddIn)
    def many(self, request: Any, body: Any) -> Any:
        return note(request.user, **body)


def note(by: Person, name: str, size: int = 0) -> Person:
    """Changes a person and its trail, then refuses some: nothing of those may stay."""
    Person.objects.filter(pk=by.pk).update(email=f"{name}@saltmarsh.example")
    record(by, "odd.noted", by, name=name)
    if name == "refused":
        raise Refused("This one is refused.", code="odd")
    if size < 0:
        raise field_error("size", "Not below zero.")
    by.refresh_from_db()
    return by


class Room:
    @staticmethod
    def register(router: Any) -> None:
        router.register("odd", Odd, basename="odd")


def breaks(request: Any) -> None:
    raise ValueError("SELECT secret FROM shop_people_person")


breaks.right = None  # type: ignore[attr-defined]
urlpatterns = [path("api/v1/", include(api_urls.build([Room]))), path("breaks/", breaks), *real]
