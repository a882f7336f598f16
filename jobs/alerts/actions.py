"""Writes of the alerts room. The row of the watch is the lock."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils import timezone

from shop.business.queries import profile
from shop.kernel import clock
from shop.kernel.decimals import plain
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.rights import rights_of
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import announce, record

from . import gathering, queries, telling, words
from .models import Alert, Aside, DailyList, MailChoice, Watch
from .telling import Finding


def look_daily() -> None:
    """Look and make the lists of the day, unless they are made."""
    if not Watch.objects.filter(day__gte=_today()).exists():
        look()


def look(*, by: Person | None = None) -> None:
    """Look now. What is new goes onto the lists of the day, what is over from them; lists that are missing are made, and
    mailed to whom wants that. What is read is read before anybody has to wait for it."""
    keep(gathering.gather(clock.today()), by=by)


@writes
def keep(found: Collection[Finding], *, by: Person | None = None) -> None:
    """Take over what a look found: at most one list, and one mail, a day for each person, however often this runs."""
    watch = _lock()
    new = _renew(found)
    today = _today()
    made = 0
    people = list(Person.objects.filter(is_active=True).order_by("pk"))
    addressed = set(MailChoice.objects.filter(mail=MailChoice.Mail.DAILY).values_list("person_id", flat=True))
    made_today = {row.person_id: row for row in DailyList.objects.filter(person__in=people, day=today)}
    for person in people:
        row = made_today.get(person.pk)
        if row is None:
            last = queries.last_list(person)
            row = DailyList(person=person, day=today, made_at=clock.now(), since=last.made_at if last else None)
            _count(row)
            _mail(row, "daily" if person.pk in addressed else "off")
            made += 1
        else:
            _count(row)
        row.save()
    watch.day, watch.looked_at = today, clock.now()
    watch.save(update_fields=["day", "looked_at"])
    record(by, "alerts.looked", watch, new=new, lists=made)


def _today() -> date:
    return telling.day_of(timezone.localtime(clock.now()))


def _lock() -> Watch:
    Watch.objects.get_or_create(pk=1)
    return Watch.objects.select_for_update(of=("self",), no_key=True).get(pk=1)


def _renew(found: Iterable[Finding]) -> int:
    """The open alerts become what was found. Answers how many are new or have changed."""
    now = clock.now()
    was = {row.key: row for row in Alert.objects.filter(ended_at__isnull=True)}
    fresh, changed, same = [], [], []
    for one in found:
        row = was.pop(one.key, None)
        values: dict[str, Any] = {
            "kind": one.kind, "due_on": one.due_on, "facts": _kept(one.facts), "rank": telling.RANK[one.kind],
            "mechanic_id": one.mechanic_id,
        }  # fmt: skip
        if row is None:
            fresh.append(Alert(key=one.key, state=one.state, found_at=now, changed_at=now, **values))
            continue
        if row.state != one.state:
            row.state, row.changed_at = one.state, now
            changed.append(row)
        else:
            same.append(row)
        for name, value in values.items():
            setattr(row, name, value)
    Alert.objects.bulk_create(fresh)
    columns = ["kind", "state", "due_on", "facts", "rank", "mechanic", "changed_at"]
    Alert.objects.bulk_update(changed + same, columns, batch_size=200)
    Alert.objects.filter(pk__in=[row.pk for row in was.values()]).update(ended_at=now)
    return len(fresh) + len(changed)


def _kept(facts: dict[str, Any]) -> dict[str, Any]:
    return {name: plain(value) if isinstance(value, Decimal) else value for name, value in facts.items()}


def _count(row: DailyList) -> None:
    roles = row.person.roles
    row.waiting = queries.told_to(row.person_id, rights_of(roles), row.since, aside=False).count()
    row.at_bench = queries.told_to(row.person_id, rights_of(roles, by_pin=True), row.since, aside=False).count()


def _mail(row: DailyList, choice: str) -> None:
    """Queue the day's mail where one is wanted and something is new."""
    person = row.person
    rows = queries.told_to(person.pk, person.rights, row.since, aside=False).filter(fresh=True).order_by("rank", "id")
    new = list(rows) if choice == MailChoice.Mail.DAILY and person.email else []
    if not telling.mail_wanted(choice, person.email, len(new)):
        return
    shop = profile()
    subject, text = words.mail(shop.name, [words.sentence(alert) for alert in new], row.waiting)
    row.mailed_to = person.email
    announce("mail.send", to=[person.email], reply_to=shop.email, subject=subject, text=text)


@writes
def set_aside(pk: int, *, by: Person, until: date | None = None) -> Alert:
    """Off one's own list until a day, or until it changes. Others keep it on theirs. Raises NotFound, BadInput (field
    until), Refused when it is over."""
    _lock()
    alert = _mine(pk, by)
    if alert.ended_at is not None:
        raise Refused("This is over already; it isn't on any list.", code="alert-over")
    if until is not None and until <= _today():
        raise field_error("until", "This day has come already. Choose a later one, or none: then until it changes.")
    values = {"state": alert.state, "until": until, "at": clock.now()}
    Aside.objects.update_or_create(alert=alert, person=by, defaults=values)
    _recount(by)
    record(by, "alert.set-aside", alert, key=alert.key, until=until)
    return _mine(pk, by)


@writes
def bring_back(pk: int, *, by: Person) -> Alert:
    """Onto one's own list again; a repeat changes nothing. Raises NotFound."""
    _lock()
    alert = _mine(pk, by)
    if Aside.objects.filter(alert=alert, person=by).delete()[0]:
        _recount(by)
        record(by, "alert.brought-back", alert, key=alert.key)
    return _mine(pk, by)


def _mine(pk: int, by: Person) -> Alert:
    alert = queries.one(by, pk)
    if alert is None:
        over = Alert.objects.filter(pk=pk, ended_at__isnull=False).first()
        if over is None or not (over.kind in telling.kinds_for(by.rights) or over.mechanic_id == by.pk):
            raise NotFound("There is no such alert for you.")
        return over
    return alert


def _recount(by: Person) -> None:
    row = DailyList.objects.filter(person=by).select_related("person").order_by("-day").first()
    if row is not None:
        _count(row)
        row.save(update_fields=["waiting", "at_bench"])


@writes
def choose_mail(mail: str, expect: int | None, *, by: Person) -> MailChoice:
    """Whether one's own list comes as a mail. From the next list on. Raises BadInput (field mail) without an address or for
    another choice, Stale."""
    if mail not in MailChoice.Mail.values:
        raise field_error("mail", "Choose one of: " + ", ".join(MailChoice.Mail.values))
    if mail != MailChoice.Mail.OFF and not by.email:
        raise field_error("mail", "No mail address is known of you. Ask the owner to enter it under People.")
    kept, _ = MailChoice.objects.get_or_create(person=by)
    row = claim(MailChoice, kept.pk, expect)
    save_next(row, mail=mail)
    record(by, "person.alert-mail", by, what=str(row.get_mail_display()))
    return row
