"""Reads of the machines room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from shop.kernel.finding import containing, starting
from shop.kernel.folding import digits, fold, key

from .models import Customer, Machine, UsageReading

M = TypeVar("M", Customer, Machine)


@dataclass(frozen=True)
class Like:
    """A customer or machine that may be the same one, and in what."""

    row: Customer | Machine
    why: str

    @property
    def facts(self) -> dict[str, object]:
        return {"id": self.row.pk, "name": str(self.row), "why": self.why}


def customers(
    *, text: str = "", name: str = "", email: str = "", phone: str = "", vat_no: str = "", archived: bool = False
) -> QuerySet[Customer]:
    """Customers that match all that is given; archived ones only when asked for."""
    found = containing(Customer.objects.filter(archived_at__isnull=not archived), "find_text", text)
    if name:
        found = containing(found, "find_text", name).filter(sort_name__contains=fold(name))
    if email:
        found = found.filter(email_key=fold(email))
    if phone:
        found = found.filter(phone_digits=digits(phone))
    if vat_no:
        found = found.filter(vat_no=vat_no)
    return found


def customer(pk: int) -> Customer | None:
    return Customer.objects.filter(pk=pk).first()


def with_machine_count(rows: QuerySet[Customer]) -> QuerySet[Customer]:
    """Each with `machine_count`, archived ones left out."""
    theirs = Machine.objects.filter(customer=OuterRef("pk"), archived_at__isnull=True).order_by().values("customer")
    return rows.annotate(machine_count=Coalesce(Subquery(theirs.annotate(n=Count("pk")).values("n")), 0))


def machines(
    *,
    text: str = "",
    serial: str = "",
    maker: str = "",
    kind: str = "",
    customer_id: int | None = None,
    parent_id: int | None = None,
    archived: bool = False,
) -> QuerySet[Machine]:
    """Machines that match all that is given, each with its last reading; archived ones only when asked for."""
    found = containing(Machine.objects.filter(archived_at__isnull=not archived), "find_text", text)
    if serial:
        found = containing(found, "find_text", key(serial)).filter(serial_key__contains=key(serial))
    if maker:
        found = found.filter(maker__iexact=maker)
    if kind:
        found = found.filter(kind__iexact=kind)
    if customer_id is not None:
        found = found.filter(customer_id=customer_id)
    if parent_id is not None:
        found = found.filter(parent_id=parent_id)
    return _with_last(found.select_related("customer", "parent"))


def machine(pk: int) -> Machine | None:
    """The machine with its customer, parent and last reading (`last_value`, `last_read_at`)."""
    return _with_last(Machine.objects.filter(pk=pk).select_related("customer", "parent")).first()


def possible_parents(customer: int, *, but: int | None = None) -> list[Machine]:
    """Machines of a customer that another of theirs can belong to, as far as a list can tell."""
    rows = Machine.objects.filter(customer_id=customer, archived_at__isnull=True).exclude(pk=but or 0)
    return list(rows.order_by("sort_name", "pk")[:500])


def readings(machine: int) -> QuerySet[UsageReading]:
    """What was read off a machine, the newest first."""
    return UsageReading.objects.filter(machine_id=machine).select_related("by")


def like_customer(name: str, email: str, phone: str, vat_no: str, *, but: int | None = None) -> list[Like]:
    """Customers that may be the same: same name, e-mail, phone or VAT number, however it is spelt. At most ten."""
    who, mail, number = fold(name), fold(email), digits(phone)
    same = Q(sort_name=who) if who else Q(pk__in=())
    if mail:
        same |= Q(email_key=mail)
    if len(number) >= 6:
        same |= Q(phone_digits=number)
    if vat_no:
        same |= Q(vat_no=vat_no)
    found = []
    for row in Customer.objects.filter(same).exclude(pk=but or 0).order_by("pk")[:10]:
        alike = {
            "name": bool(who) and row.sort_name == who,
            "e-mail": bool(mail) and row.email_key == mail,
            "phone": len(number) >= 6 and row.phone_digits == number,
            "VAT number": bool(vat_no) and row.vat_no == vat_no,
        }
        found.append(Like(row, "same " + ", ".join(word for word, is_same in alike.items() if is_same)))
    return found


def like_machine(serial_no: str, maker: str = "", *, but: int | None = None) -> list[Like]:
    """Machines with the same serial number, whatever spaces and dashes it was typed with; the same maker's first.

    Makers number alike, so another maker's may well be another machine: the caller sees both. At most ten.
    """
    serial = key(serial_no)
    if not serial:
        return []
    who = fold(maker)
    rows = Machine.objects.filter(serial_key=serial).exclude(pk=but or 0).select_related("customer").order_by("pk")[:50]
    found = sorted(rows, key=lambda r: fold(r.maker) != who)[:10]
    return [Like(r, f"same serial number, belongs to {r.customer.name}") for r in found]


def find_customers(text: str, limit: int = 10) -> list[Customer]:
    """For the search box: those whose name starts like `text` first, then those with all its words anywhere."""
    return _found(customers(), text, limit)


def find_machines(text: str, limit: int = 10) -> list[Machine]:
    """For the search box: by serial number first, then by all words in maker, model, kind and serial number."""
    found: list[Machine] = []
    if serial := key(text):
        found = list(starting(machines(), "serial_key", serial).order_by("serial_key", "pk")[:limit])
    if len(found) < limit:
        seen = {m.pk for m in found}
        found += [m for m in _found(machines(), text, limit) if m.pk not in seen]
    return found[:limit]


def _found(rows: QuerySet[M], text: str, limit: int) -> list[M]:
    folded = fold(text)
    if not folded:
        return []
    first = list(starting(rows, "sort_name", folded).order_by("sort_name", "pk")[:limit])
    if len(first) < limit:
        rest = containing(rows, "find_text", folded).exclude(pk__in=[r.pk for r in first])
        first += list(rest.order_by("sort_name", "pk")[: limit - len(first)])
    return first


def _with_last(rows: QuerySet[Machine]) -> QuerySet[Machine]:
    last = UsageReading.objects.filter(machine=OuterRef("pk")).order_by("-read_at", "-id")
    return rows.annotate(
        last_value=Subquery(last.values("value")[:1]),
        last_read_at=Subquery(last.values("read_at")[:1]),
    )
