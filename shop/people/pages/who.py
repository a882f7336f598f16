"""The person behind a request."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from shop.people.models import Person


def who(request: HttpRequest) -> Person:
    """The person signed in, on a page that needs a right."""
    if not isinstance(request.user, Person):
        raise PermissionDenied
    return request.user
