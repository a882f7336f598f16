"""Writes of the machines room.

Lock order: customers by id, then the machine. Whatever changes who owns a machine or what it belongs to holds the
customer's row, so that two edits at once can't close a circle.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from shop.kernel import clock
from shop.kernel.errors import BadInput, NeedsOverride, NotFound, Refused, Stale, field_error
from shop.kernel.text import clean_line
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from . import entries, lineage, queries
from .models import Customer, Machine, UsageReading

CUSTOMER_FIELDS = frozenset(
    [
        "kind",
        "name",
        "contact",
        "email",
        "phone",
        "street",
        "postcode",
        "city",
        "country",
        "vat_no",
        "language",
        "customer_class",
        "payment_days",
        "extra_work_limit",
        "note",
    ]
)
MACHINE_FIELDS = frozenset({"kind", "maker", "model", "serial_no", "year", "usage_unit", "note"})
_TELL_APART = frozenset({"name", "email", "phone", "vat_no"})
CLOCK_SKEW = timedelta(minutes=5)


# --- customers --------------------------------------------------------------------------------------


@writes
def add_customer(
    *, by: Person, despite_duplicates: bool = False, mail_consent: bool = False, **values: Any
) -> Customer:
    """Add a customer. `mail_consent`: they agree to be mailed, from now.

    Raises BadInput; NeedsOverride "duplicate" (facts: found) when somebody alike is there, unless `despite_duplicates`.
    """
    clean = entries.check_customer(_known(values, CUSTOMER_FIELDS))
    if "name" not in clean:
        raise field_error("name", "Give the name of the person or firm.")
    customer = Customer(**clean, created_at=clock.now())
    if not despite_duplicates:
        _point_out_customers(customer)
    if mail_consent:
        customer.mail_consent_at = clock.now()
    customer.save(force_insert=True)
    record(by, "customer.added", customer, name=customer.name, mail_consent=mail_consent)
    return customer


@writes
def edit_customer(
    pk: int, expect: int | None, *, by: Person, despite_duplicates: bool = False, **values: Any
) -> Customer:
    """Change fields of a customer at version `expect`. Raises NotFound, Stale, BadInput, NeedsOverride "duplicate"."""
    _something(values)
    customer = claim(Customer, pk, expect)
    clean = entries.check_customer(_known(values, CUSTOMER_FIELDS), country=customer.country)
    before = {name: getattr(customer, name) for name in clean}
    changed = changes(before, clean)
    for name, value in clean.items():
        setattr(customer, name, value)
    if not despite_duplicates and changed.keys() & _TELL_APART:
        _point_out_customers(customer, only=changed.keys() & _TELL_APART)
    save_next(customer, **clean)
    record(by, "customer.changed", customer, changed=changed)
    return customer


@writes
def archive_customer(pk: int, expect: int | None, *, by: Person) -> Customer:
    """Put a customer away: stays in history with all machines, is no longer offered. Raises Refused when away already."""
    customer = claim(Customer, pk, expect)
    _archive(customer, by, "customer")
    return customer


@writes
def restore_customer(pk: int, expect: int | None = None, *, by: Person) -> Customer:
    """Take an archived customer back. Raises Refused when not archived."""
    customer = claim(Customer, pk, expect)
    _restore(customer, by, "customer")
    return customer


@writes
def give_mail_consent(pk: int, expect: int | None = None, *, by: Person) -> Customer:
    """Note that the customer agrees to be mailed, from now. Once noted, the earlier moment stays."""
    customer = claim(Customer, pk, expect)
    if customer.mail_consent_at is None:
        save_next(customer, mail_consent_at=clock.now())
        record(by, "customer.mail-consent-given", customer)
    return customer


@writes
def withdraw_mail_consent(pk: int, expect: int | None = None, *, by: Person) -> Customer:
    """Note that the customer no longer agrees to be mailed; when they had agreed stays in the trail."""
    customer = claim(Customer, pk, expect)
    if customer.mail_consent_at is not None:
        given_at = customer.mail_consent_at
        save_next(customer, mail_consent_at=None)
        record(by, "customer.mail-consent-withdrawn", customer, given_at=given_at)
    return customer


def _point_out_customers(customer: Customer, *, only: Sequence[str] | frozenset[str] | Any = _TELL_APART) -> None:
    told = {name: getattr(customer, name) if name in only else "" for name in _TELL_APART}
    _point_out(queries.like_customer(**told, but=customer.pk), "customer")


# --- machines ---------------------------------------------------------------------------------------


@writes
def add_machine(
    *, by: Person, customer_id: int, parent_id: int | None = None, despite_duplicates: bool = False, **values: Any
) -> Machine:
    """Add a machine of a customer, if wanted as part of the machine `parent_id` of the same customer.

    Raises BadInput, NotFound-like field errors for unknown ids; NeedsOverride "duplicate" (facts: found) when its serial
    number is there already, unless `despite_duplicates`.
    """
    clean = entries.check_machine(_known(values, MACHINE_FIELDS), this_year=clock.today().year)
    if "kind" not in clean:
        raise field_error("kind", "Say what it is: engine, gearbox, pump, generator set ...")
    owner = _hold([customer_id]).get(customer_id)
    if owner is None:
        raise field_error("customer_id", "There is no such customer. Add the customer first.")
    if owner.archived_at is not None:
        raise field_error("customer_id", f"{owner.name} is archived. Take the customer back first.")
    machine = Machine(**clean, customer=owner, created_at=clock.now())
    if parent_id is not None:
        _set_parent(machine, parent_id)
    if not despite_duplicates:
        _point_out(queries.like_machine(machine.serial_no, machine.maker), "machine")
    machine.save(force_insert=True)
    record(by, "machine.added", machine, name=str(machine), customer=owner.pk)
    return machine


@writes
def edit_machine(
    pk: int, expect: int | None, *, by: Person, despite_duplicates: bool = False, **values: Any
) -> Machine:
    """Change fields of a machine at version `expect`; `parent_id` (or None) says what it belongs to.

    Raises NotFound, Stale, BadInput, NeedsOverride "duplicate".
    """
    _something(values)
    machine = _claim(pk, expect)
    moves_to = values.pop("parent_id", machine.parent_id)
    clean = entries.check_machine(_known(values, MACHINE_FIELDS), this_year=clock.today().year)
    before = {name: getattr(machine, name) for name in clean} | {"parent": machine.parent_id}
    changed = changes(before, clean | {"parent": moves_to})
    if "usage_unit" in changed and machine.readings.exists():
        raise field_error(
            "usage_unit",
            "This machine has readings in the present unit, which can't be read as another. Keep the unit; for a new "
            "meter with another unit, note it in the remarks.",
        )
    if "parent" in changed:
        if moves_to is None:
            machine.parent = None
        else:
            _set_parent(machine, moves_to)
    if not despite_duplicates and "serial_no" in changed:
        _point_out(queries.like_machine(clean["serial_no"], clean.get("maker", machine.maker), but=pk), "machine")
    save_next(machine, **clean, parent=machine.parent)
    record(by, "machine.changed", machine, changed=changed)
    return machine


@writes
def archive_machine(pk: int, expect: int | None, *, by: Person) -> Machine:
    """Put a machine away (scrapped, sold elsewhere): its history stays. Raises Refused when away already."""
    machine = claim(Machine, pk, expect)
    _archive(machine, by, "machine")
    return machine


@writes
def restore_machine(pk: int, expect: int | None = None, *, by: Person) -> Machine:
    """Take an archived machine back. Raises Refused when not archived."""
    machine = claim(Machine, pk, expect)
    _restore(machine, by, "machine")
    return machine


@writes
def move_machine(pk: int, expect: int | None, *, by: Person, customer_id: int) -> Machine:
    """The machine belongs to another customer from now on, with all that belongs to it.

    It leaves the machine it belonged to. Job cards keep the customer they were opened for. Raises NotFound, Stale,
    BadInput.
    """
    machine = _claim(pk, expect, customer_id)
    if machine.customer_id == customer_id:
        raise field_error("customer_id", "It belongs to this customer already.")
    new_owner = Customer.objects.filter(pk=customer_id).first()
    if new_owner is None:
        raise field_error("customer_id", "There is no such customer. Add the customer first.")
    if new_owner.archived_at is not None:
        raise field_error("customer_id", f"{new_owner.name} is archived. Take the customer back first.")
    old, old_parent = machine.customer_id, machine.parent_id
    parts = lineage.below(_parents(old), pk)
    save_next(machine, customer=new_owner, parent=None)
    record(by, "machine.moved", machine, customer=[old, customer_id], parent=[old_parent, None])
    for part in Machine.objects.select_for_update().filter(pk__in=parts).order_by("pk"):
        save_next(part, customer=new_owner)
        record(by, "machine.moved", part, customer=[old, customer_id], along_with=pk)
    return machine


@writes
def read_usage(
    machine_id: int, *, by: Person, value: Decimal, read_at: datetime | None = None, note: str = ""
) -> UsageReading:
    """Write down what the machine's meter shows, in the machine's unit, at `read_at` (aware; None: now).

    A reading that does not fit the ones around it (lower than before, faster than the clock) needs a note, such as
    "new meter". Raises NotFound, Refused (archived), BadInput.
    """
    row = claim(Machine, machine_id, None)
    if row.archived_at is not None:
        raise Refused(f"{row} is archived. Take it back before reading its meter.")
    value = entries.check_usage(value)
    note = clean_line(note, field="note", max_length=200)
    now = clock.now()
    at = read_at or now
    if at > now + CLOCK_SKEW:
        raise field_error("read_at", "This lies in the future. Give when the meter was read.")
    if row.year and at.year < row.year:
        raise field_error("read_at", f"The machine was built in {row.year}. Give when the meter was read.")
    around = UsageReading.objects.filter(machine=row)
    before = _reading(around.filter(read_at__lte=at).order_by("-read_at", "-id"))
    after = _reading(around.filter(read_at__gt=at).order_by("read_at", "id"))
    unlikely = entries.why_unlikely(row.usage_unit, value, at, before, after)
    if unlikely and not note:
        raise field_error(
            "note", f"{unlikely} Check the meter; if it is right, say why, for example “new meter”.", code="note-needed"
        )
    reading = UsageReading.objects.create(machine=row, value=value, read_at=at, by=by, note=note)
    record(by, "machine.read", reading, root=row, value=value, read_at=at, note=note)
    return reading


def _reading(rows: QuerySet[UsageReading]) -> tuple[Decimal, datetime] | None:
    """Value and moment, in the shop's time zone, of the first of them."""
    first = rows.first()
    return (first.value, timezone.localtime(first.read_at)) if first else None


def _hold(customers: Sequence[int]) -> dict[int, Customer]:
    """Lock these customers, by id."""
    rows = Customer.objects.select_for_update().filter(pk__in=customers).order_by("pk")
    return {c.pk: c for c in rows}


def _claim(pk: int, expect: int | None, *more_customers: int) -> Machine:
    """Lock the machine's customer (and others), then the machine."""
    owner = Machine.objects.filter(pk=pk).values_list("customer_id", flat=True).first()
    if owner is None:
        raise NotFound("There is no such machine.")
    _hold([owner, *more_customers])
    machine = claim(Machine, pk, expect)
    if machine.customer_id != owner:  # moved between the two lines above
        raise Stale("Somebody moved this machine to another customer just now. Look again.", current=machine.version)
    return machine


def _parents(customer: int) -> dict[int, int | None]:
    return dict(Machine.objects.filter(customer_id=customer).values_list("pk", "parent_id"))


def _set_parent(machine: Machine, parent: int) -> None:
    found = Machine.objects.filter(pk=parent).first()
    if found is None:
        raise field_error("parent_id", "There is no such machine.")
    if found.customer_id != machine.customer_id:
        raise field_error("parent_id", f"{found} belongs to another customer. Move one of the two first.")
    lineage.check_parent(_parents(machine.customer_id), machine.pk or 0, parent)
    machine.parent = found


# --- both -------------------------------------------------------------------------------------------


def _point_out(found: list[queries.Like], word: str) -> None:
    if found:
        names = "; ".join(f"{like.row} ({like.why})" for like in found[:3])
        raise NeedsOverride(
            f"This {word} may be here already: {names}. Use that one, or save all the same.",
            code="duplicate",
            found=[like.facts for like in found],
        )


def _archive(row: Customer | Machine, by: Person, word: str) -> None:
    if row.archived_at is not None:
        raise Refused(f"{row} is archived already.")
    save_next(row, archived_at=clock.now())
    record(by, f"{word}.archived", row)


def _restore(row: Customer | Machine, by: Person, word: str) -> None:
    if row.archived_at is None:
        raise Refused(f"{row} is not archived.")
    save_next(row, archived_at=None)
    record(by, f"{word}.restored", row)


def _known(values: dict[str, Any], fields: frozenset[str]) -> dict[str, Any]:
    if unknown := values.keys() - fields:
        raise TypeError(f"no such field: {', '.join(sorted(unknown))}")
    return values


def _something(values: dict[str, Any]) -> None:
    if not values:
        raise BadInput("Send at least one field to change.")
