"""Writes of the buying room."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from shop.kernel import clock
from shop.kernel.countries import check_country
from shop.kernel.errors import BadInput, field_error
from shop.kernel.findings import Findings
from shop.kernel.identity import Verdict, check_vat
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from .models import Supplier

LENGTHS = {
    "name": 160, "account_no": 40, "email": 254, "phone": 40, "street": 160, "postcode": 20, "city": 80, "vat_no": 20,
}  # fmt: skip


@writes
def add_supplier(*, by: Person, **values: Any) -> Supplier:
    """Add a supplier. Raises BadInput for a name that is already used."""
    supplier = Supplier(**check_values(values))
    _refuse_same_name(supplier.name)
    supplier.save(force_insert=True)
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
    save_next(supplier, **values)
    record(by, "supplier.changed", supplier, changed=changes(before, values))
    return supplier


@writes
def archive_supplier(pk: int, expect: int | None, *, by: Person) -> Supplier:
    """Put a supplier away: it stays in history and is no longer offered."""
    supplier = claim(Supplier, pk, expect, archived_at__isnull=True)
    save_next(supplier, archived_at=clock.now())
    record(by, "supplier.archived", supplier)
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
    days = clean.get("lead_days")
    if days is not None and not 0 <= days <= 730:
        found.add("lead_days", "Give 0 to 730 days, or leave it empty.")
    found.raise_any()
    return clean


def _refuse_same_name(name: str, *, but: int | None = None) -> None:
    if Supplier.objects.filter(name__iexact=name).exclude(pk=but).exists():
        raise field_error("name", f"There is already a supplier “{name}”. Use that one, or tell them apart by town.")
