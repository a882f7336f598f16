"""What the pages of this room share."""

from __future__ import annotations

from django.http import Http404, HttpRequest
from django.urls import reverse

from shop.people.models import Person

from .. import queries
from ..models import Part


def by(request: HttpRequest) -> Person:
    assert isinstance(request.user, Person)  # noqa: S101 - @page lets nobody else in
    return request.user


def found_part(pk: int) -> Part:
    found = queries.part(pk)
    if found is None:
        raise Http404
    return found


def part_url(part: Part | int) -> str:
    return reverse("parts:part", args=[part if isinstance(part, int) else part.pk])
