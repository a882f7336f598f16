"""What is charged beside a part: core deposits and environmental charges."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.db import IntegrityError

from shop.business import queries as business
from shop.kernel import clock
from shop.kernel.decimals import as_decimal, decimals_of, plain
from shop.kernel.errors import Refused, field_error
from shop.kernel.text import clean_line
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from ..models import ChargeKind, Part, PartCharge
from .parts import PRICE_DECIMALS, PRICE_LIMIT

MOST = 10
"""Charges that go with one part."""


@writes
def add_charge(part_id: int, *, by: Person, kind: str, text: str, amount: Decimal, tax_code: str = "") -> PartCharge:
    """From now on this is charged with each unit of a part: `amount` before tax, worded `text`, at the part's VAT rate
    unless `tax_code` names another. Documents that are written already stay as they are.

    `kind`: core (a deposit on the old part, one for a part) or environmental. Raises NotFound, BadInput, Refused (ten there
    already).
    """
    part = claim(Part, part_id, None)
    there = list(part.charges.filter(archived_at__isnull=True))
    if len(there) >= MOST:
        raise Refused(f"{part.number} has {MOST} charges already. Put several into one.", code="too-many-charges")
    values = _checked({"kind": kind, "text": text, "amount": amount, "tax_code": tax_code})
    if values["kind"] == ChargeKind.CORE and any(x.kind == ChargeKind.CORE for x in there):
        raise field_error(
            "kind", f"{part.number} has a core deposit. Change that one, or put it away first.", code="core-there"
        )
    row = PartCharge(part=part, **values)
    _saved(lambda: row.save(force_insert=True))
    record(by, "part.charge-added", row, root=part, text=row.text, kind=row.kind, amount=plain(row.amount))
    return row


@writes
def edit_charge(charge_id: int, expect: int | None, *, by: Person, **values: Any) -> PartCharge:
    """Change wording, amount or tax code of a charge at version `expect`; its kind stays. Raises NotFound, Stale, BadInput."""
    row = claim(PartCharge, charge_id, expect, archived_at__isnull=True)
    if values.pop("kind", row.kind) != row.kind:
        raise field_error("kind", "The kind of a charge stays. Put it away and add another.", code="kind-stays")
    values = _checked(values)
    before = {name: getattr(row, name) for name in values}
    _saved(lambda: save_next(row, **values))
    told = {k: [str(a), str(b)] for k, (a, b) in changes(before, values).items()}
    record(by, "part.charge-changed", row, root=row.part, text=row.text, changed=told)
    return row


@writes
def archive_charge(charge_id: int, expect: int | None, *, by: Person) -> PartCharge:
    """The charge goes with nothing new any more; what names it keeps it. Raises NotFound, Stale."""
    row = claim(PartCharge, charge_id, expect, archived_at__isnull=True)
    save_next(row, archived_at=clock.now())
    record(by, "part.charge-archived", row, root=row.part, text=row.text)
    return row


def _checked(values: dict[str, Any]) -> dict[str, Any]:
    if unknown := set(values) - {"kind", "text", "amount", "tax_code"}:
        raise TypeError(f"a charge has no {sorted(unknown)}")
    clean = dict(values)
    if "kind" in clean and clean["kind"] not in ChargeKind.values:
        raise field_error("kind", "Choose one of: " + ", ".join(ChargeKind.values) + ".", code="unknown-kind")
    if "text" in clean:
        clean["text"] = clean_line(clean["text"] or "", field="text", required=True, max_length=120)
    if "amount" in clean:
        clean["amount"] = _amount(clean["amount"])
    if "tax_code" in clean:
        code = clean["tax_code"] = clean_line(clean["tax_code"] or "", field="tax_code", max_length=20)
        if code and not business.tax_rates(on=clock.today(), code=code).exists():
            raise field_error(
                "tax_code", f"There is no VAT rate “{code}” today. Leave it empty for the part's.", code="no-tax-rate"
            )
    return clean


def _amount(value: Decimal) -> Decimal:
    amount = as_decimal(value, "amount")
    if amount <= 0:
        raise field_error(
            "amount", "Give an amount above zero; put the charge away if there is none.", code="not-positive"
        )
    if amount >= PRICE_LIMIT:
        raise field_error("amount", "This amount is too large to be right.", code="too-large")
    if decimals_of(amount) > PRICE_DECIMALS:
        raise field_error("amount", f"An amount has at most {PRICE_DECIMALS} decimals.", code="too-many-decimals")
    return amount


def _saved(save: Callable[[], None]) -> None:
    """Of two that are called the same, or two core deposits made at once, the constraints let one in."""
    try:
        save()
    except IntegrityError as error:
        raise field_error("text", "This part has such a charge already.", code="charge-there") from error
