"""The person behind a request."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from shop.people.models import Person


def by(request: HttpRequest) -> Person:
    """The person signed in, on a page that needs a right; for the pages of all rooms."""
    if not isinstance(request.user, Person):
        raise PermissionDenied
    return request.user
