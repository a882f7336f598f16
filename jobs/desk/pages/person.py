"""Whose request it is."""

from __future__ import annotations

from django.http import HttpRequest

from shop.people.models import Person


def by(request: HttpRequest) -> Person:
    assert isinstance(request.user, Person)  # noqa: S101 - @page lets nobody else in
    return request.user
