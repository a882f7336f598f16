"""Who asks for a page, for the pages of all rooms above."""

from __future__ import annotations

from django.http import HttpRequest

from .models import Person


def by(request: HttpRequest) -> Person:
    """The person signed in; only below `@page` with a right, which lets nobody else in."""
    assert isinstance(request.user, Person)  # noqa: S101 - @page lets nobody else in
    return request.user
