"""Reads of the alerts room."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from django.db.models import Case, Exists, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.fields import BooleanField, DateField
from django.db.models.functions import Coalesce
from django.utils import timezone

from shop.kernel import clock
from shop.people.models import Person

from .models import Alert, Aside, DailyList, MailChoice, Watch
from .telling import day_of, kinds_for

_NEVER = Value(None, output_field=DateField())


def told_to(
    person_id: int, rights: Collection[str], since: datetime | None, *, aside: bool | None = None
) -> QuerySet[Alert]:
    """What concerns a person with these rights, each with `fresh` (new since the list before, or back after it was set
    aside), `is_aside` and `aside_until`. `aside`: only what is set aside, or only what isn't."""
    today = day_of(timezone.localtime(clock.now()))
    mine = Aside.objects.filter(alert=OuterRef("pk"), person=person_id, state=OuterRef("state"))
    lasting = mine.filter(Q(until__isnull=True) | Q(until__gt=today))
    if since is None:
        fresh: Case | Value = Value(True, output_field=BooleanField())
    else:
        back = mine.filter(until__lte=today, until__gt=day_of(timezone.localtime(since)))
        fresh = Case(
            When(Q(changed_at__gt=since) | Exists(back), then=Value(True)),
            default=Value(False),
            output_field=BooleanField(),
        )
    rows = Alert.objects.filter(Q(kind__in=kinds_for(rights)) | Q(mechanic=person_id), ended_at__isnull=True)
    rows = rows.annotate(
        is_aside=Exists(lasting), aside_until=Coalesce(Subquery(lasting.values("until")[:1]), _NEVER), fresh=fresh
    )
    return rows if aside is None else rows.filter(is_aside=aside)


def of(person: Person, *, aside: bool | None = None) -> QuerySet[Alert]:
    """As `told_to`, of the person's last list."""
    listed = last_list(person)
    return told_to(person.pk, person.rights, listed.since if listed else None, aside=aside)


def one(person: Person, pk: int) -> Alert | None:
    return of(person).filter(pk=pk).first()


def lists(person: Person) -> QuerySet[DailyList]:
    return DailyList.objects.filter(person=person)


def last_list(person: Person) -> DailyList | None:
    return lists(person).order_by("-day").first()


def waiting_for(person: Person) -> int:
    """How many stand on the person's last list and aren't set aside; one row by its index."""
    which = "at_bench" if person.by_pin else "waiting"
    return lists(person).order_by("-day").values_list(which, flat=True).first() or 0


def looked_at() -> datetime | None:
    return Watch.objects.values_list("looked_at", flat=True).first()


def mail_choice(person: Person) -> MailChoice:
    """What the person chose; one who never did gets no mail."""
    return MailChoice.objects.filter(person=person).first() or MailChoice(person=person)
