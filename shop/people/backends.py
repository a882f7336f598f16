from __future__ import annotations

from typing import Any

from django.contrib.auth.backends import BaseBackend
from django.http import HttpRequest

from .models import Person


class ByName(BaseBackend):
    """User name (any case) and password. Takes the same time for an unknown name."""

    def authenticate(
        self, request: HttpRequest | None, username: str | None = None, password: str | None = None, **kw: Any
    ) -> Person | None:
        if not username or password is None or "\x00" in username:
            return None
        person = Person.objects.filter(username=username.strip().lower()).first()
        if person is None:
            Person().set_password(password)
            return None
        return person if person.check_password(password) and person.is_active else None

    def get_user(self, user_id: int) -> Person | None:
        person = Person.objects.filter(pk=user_id).first()
        return person if person and person.is_active else None
