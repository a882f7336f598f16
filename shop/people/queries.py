"""Reads of the people room."""

from __future__ import annotations

import hashlib

from django.db.models import QuerySet

from shop.trail.models import TrailRow

from .actions.tablets import AT_THE_BENCH
from .models import ApiToken, Person, RecoveryCode, Tablet


def people(*, active: bool | None = True, name: str = "") -> QuerySet[Person]:
    """Staff; those who work here unless `active` says otherwise (None: all), whose name contains `name`."""
    found = Person.objects.all() if active is None else Person.objects.filter(is_active=active)
    return found.filter(name__icontains=name) if name else found


def person(pk: int) -> Person | None:
    return Person.objects.filter(pk=pk).first()


def holding(role: str) -> list[Person]:
    """Active people with a role, by name. (A shop has some twenty; SQLite can't look into a JSON list.)"""
    return [p for p in people() if role in p.roles]


def at_the_bench() -> list[Person]:
    """Who may switch in on a tablet."""
    return [p for p in people() if AT_THE_BENCH & set(p.roles)]


def tokens_of(owner: Person) -> QuerySet[ApiToken]:
    return ApiToken.objects.filter(person=owner)


def token_of(owner: Person, pk: int) -> ApiToken | None:
    return tokens_of(owner).filter(pk=pk).first()


def codes_left(owner: Person) -> int:
    return RecoveryCode.objects.filter(person=owner, used_at__isnull=True).count()


def tablets() -> QuerySet[Tablet]:
    return Tablet.objects.select_related("enrolled_by")


def tablet(pk: int) -> Tablet | None:
    return tablets().filter(pk=pk).first()


def tablet_with(secret: str) -> Tablet | None:
    """The enrolled tablet whose cookie holds `secret`."""
    if not secret:
        return None
    return Tablet.objects.filter(digest=hashlib.sha256(secret.encode()).hexdigest(), revoked_at__isnull=True).first()


def history(of: Person, *, most: int = 30) -> list[TrailRow]:
    """What was done to or by this account itself: sign-ins, failures, changes; newest first."""
    rows = TrailRow.objects.filter(root="person", root_id=of.pk).select_related("by")
    return list(rows.order_by("-id")[:most])


def failures(*, most: int = 30) -> list[TrailRow]:
    """Failed sign-ins under any name; newest first."""
    # the subjects bound the rows by an index
    rows = TrailRow.objects.filter(subject__in=("person", "attempt"), verb="sign-in.failed")
    return list(rows.order_by("-id")[:most])
