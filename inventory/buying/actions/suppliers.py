from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import IntegrityError

from shop.kernel import clock
from shop.kernel.countries import check_country
from shop.kernel.errors import BadInput, field_error
from shop.kernel.findings import Findings
from shop.kernel.identity import Verdict, check_vat
from shop.kernel.rounding import minor_units
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from ..models import Supplier

LENGTHS = {
    "name": 160, "account_no": 40, "email": 254, "phone": 40, "street": 160, "postcode": 20, "city": 80, "vat_no": 20,
}  # fmt: skip


@writes
def add_supplier(*, by: Person, **values: Any) -> Supplier:
    """Add a supplier. Raises BadInput for a name that is already used."""
    supplier = Supplier(**check_values(values))
    _refuse_same_name(supplier.name)
    _saved(supplier, lambda: supplier.save(force_insert=True))
    record(by, "supplier.added", supplier, name=supplier.name)
    return supplier


@writes
def edit_supplier(pk: int, expect: int | None, *, by: Person, **values: Any) -> Supplier:
    """Change fields of a supplier at version `expect`. Raises NotFound, Stale, BadInput."""
    supplier = claim(Supplier, pk, expect)
    values = check_values(values)
    before = {name: getattr(supplier, name) for name in values}
    if "name" in values:
        _refuse_same_name(values["name"], but=pk)
    _saved(supplier, lambda: save_next(supplier, **values))
    record(by, "supplier.changed", supplier, changed=changes(before, values))
    return supplier


@writes
def archive_supplier(pk: int, expect: int | None, *, by: Person) -> Supplier:
    """Put a supplier away: it stays in history and is no longer offered."""
    supplier = claim(Supplier, pk, expect, archived_at__isnull=True)
    save_next(supplier, archived_at=clock.now())
    record(by, "supplier.archived", supplier)
    return supplier


@writes
def restore_supplier(pk: int, *, by: Person) -> Supplier:
    """Offer an archived supplier again. Nothing happens when it is offered. Raises NotFound."""
    supplier = claim(Supplier, pk, None)
    if supplier.archived_at is not None:
        save_next(supplier, archived_at=None)
        record(by, "supplier.restored", supplier)
    return supplier


def check_values(values: dict[str, Any]) -> dict[str, Any]:
    """The values of a supplier, cleaned. Raises BadInput naming every wrong field."""
    clean, found = dict(values), Findings()
    found.lines(clean, LENGTHS, "name")
    found.texts(clean, {"note": 4000})
    if clean.get("email"):
        try:
            validate_email(clean["email"])
        except ValidationError:
            found.add("email", "This is no e-mail address. Write it like name@place.example.")
    if clean.get("country"):
        try:
            clean["country"] = check_country(clean["country"])
        except BadInput as error:
            found.note(error)
    if clean.get("vat_no"):
        checked = check_vat(clean["vat_no"], clean.get("country", ""))
        clean["vat_no"] = checked.number
        if checked.verdict is Verdict.BAD:
            found.add("vat_no", checked.reason)
    if "currency" in clean:
        clean["currency"] = (clean["currency"] or "").strip().upper()
        try:
            minor_units(clean["currency"])
        except BadInput:
            found.add("currency", "Give the three letters of a currency, such as EUR.")
    days = clean.get("lead_days")
    if days is not None and not 0 <= days <= 730:
        found.add("lead_days", "Give 0 to 730 days, or leave it empty.")
    found.raise_any()
    return clean


def _refuse_same_name(name: str, *, but: int | None = None) -> None:
    other = Supplier.objects.filter(name__iexact=name).exclude(pk=but).first()
    if other is not None:
        away = " (archived)" if other.archived_at else ""
        raise field_error(
            "name", f"There is already a supplier “{other.name}”{away}. Use that one, or tell them apart by town."
        )


def _saved(supplier: Supplier, save: Callable[[], None]) -> None:
    """Two people adding the same name at once pass the check together; the constraint then lets only one in."""
    try:
        save()
    except IntegrityError as error:
        raise field_error("name", f"Somebody else just added “{supplier.name}”. Use that one.") from error
