"""Suppliers' invoices."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.kernel.decimals import plain
from shop.kernel.units import unit
from shop.ui.forms import DateInput, DecimalField

from ..actions import Billed, Credited
from ..models import ReceiptLine, SupplierInvoiceLine
from .orders import PRICE
from .receipts import MONEY
from .shared import SupplierChoice, line


class WhoseForm(forms.Form):
    supplier = SupplierChoice()


class BillForm(forms.Form):
    """Two boxes for each line of a receipt of which something waits for an invoice: how much is charged, and at which price."""

    number = line(_("Invoice number"), 60, required=True, hint=_("The supplier's."), spellcheck="false")
    dated_on = forms.DateField(label=_("Date on it"), widget=DateInput)
    due_on = forms.DateField(label=_("Due on"), required=False, widget=DateInput)
    freight = DecimalField(label=_("Freight"), **MONEY)
    duty = DecimalField(label=_("Duty"), **MONEY)
    allowance = DecimalField(label=_("Taken off the whole"), **MONEY)
    total = DecimalField(
        label=_("Total before tax"), max_digits=16, decimal_places=4, min_value=0, help_text=_("As it stands there.")
    )
    tax = DecimalField(label=_("Tax"), **MONEY)
    note = line(_("Note"), 200)

    def __init__(self, *args: Any, rows: list[ReceiptLine], currency: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.rows = rows
        for name in ("freight", "duty", "allowance", "total", "tax"):
            self.fields[name].unit = currency  # type: ignore[attr-defined]
        for row in rows:
            called = f"{row.part.number}, {row.receipt.delivery_note}"
            self.fields[f"quantity_{row.pk}"] = DecimalField(
                label=_("Charged of %(part)s") % {"part": called}, max_digits=18, decimal_places=6, min_value=0,
                required=False, unit=unit(row.part.unit).symbol, initial=Decimal(plain(row.quantity)),
            )  # fmt: skip
            self.fields[f"price_{row.pk}"] = DecimalField(
                label=_("Price of %(part)s") % {"part": called}, **PRICE, required=False, unit=currency,
                initial=Decimal(plain(row.price)),
            )  # fmt: skip

    def boxes(self) -> list[tuple[ReceiptLine, forms.BoundField, forms.BoundField]]:
        return [(row, self[f"quantity_{row.pk}"], self[f"price_{row.pk}"]) for row in self.rows]

    def values(self) -> dict[str, Any]:
        """As `actions.record_supplier_invoice` takes them; a line without a quantity isn't on it."""
        given = self.cleaned_data
        names = ("number", "dated_on", "due_on", "total", "note")
        amounts = {n: given[n] or Decimal(0) for n in ("freight", "duty", "allowance", "tax")}
        lines = [
            Billed(row.pk, charged, given[f"price_{row.pk}"])
            for row in self.rows
            if (charged := given[f"quantity_{row.pk}"])
        ]
        return {n: given[n] for n in names} | amounts | {"lines": lines}


class CreditForm(forms.Form):
    """For each line of an invoice: how much went back and at which price it is credited, and by how much the price of what is
    kept is less."""

    number = line(_("Credit note number"), 60, required=True, hint=_("The supplier's."), spellcheck="false")
    dated_on = forms.DateField(label=_("Date on it"), widget=DateInput)
    freight = DecimalField(label=_("Freight that comes back"), **MONEY)
    duty = DecimalField(label=_("Duty that comes back"), **MONEY)
    allowance = DecimalField(label=_("What they keep"), **MONEY)
    total = DecimalField(
        label=_("Total before tax"), max_digits=16, decimal_places=4, min_value=0, help_text=_("As it stands there.")
    )
    tax = DecimalField(label=_("Tax"), **MONEY)
    note = line(_("Note"), 200)

    def __init__(self, *args: Any, rows: list[SupplierInvoiceLine], currency: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.rows = rows
        for name in ("freight", "duty", "allowance", "total", "tax"):
            self.fields[name].unit = currency  # type: ignore[attr-defined]
        for row in rows:
            pk, part = row.receipt_line_id, row.receipt_line.part
            sign, called = unit(part.unit).symbol, {"part": part.number}
            amount = {"max_digits": 18, "decimal_places": 6, "min_value": 0, "required": False}
            self.fields[f"back_{pk}"] = DecimalField(label=_("Of %(part)s went back") % called, unit=sign, **amount)
            self.fields[f"price_{pk}"] = DecimalField(
                label=_("%(part)s is credited at, each") % called, **PRICE, required=False, unit=currency,
                initial=Decimal(plain(row.price)),
            )  # fmt: skip
            self.fields[f"less_{pk}"] = DecimalField(
                label=_("Price of %(part)s is less by, each") % called, **PRICE, required=False, unit=currency
            )
            self.fields[f"of_{pk}"] = DecimalField(
                label=_("On so much of %(part)s") % called, unit=sign, initial=Decimal(plain(row.quantity)), **amount
            )

    def boxes(self) -> list[tuple[Any, ...]]:
        names = ("back", "price", "less", "of")
        return [(row, *(self[f"{name}_{row.receipt_line_id}"] for name in names)) for row in self.rows]

    def values(self) -> dict[str, Any]:
        """As `actions.record_supplier_credit` takes them."""
        given = self.cleaned_data
        lines = []
        for row in self.rows:
            pk = row.receipt_line_id
            if given[f"back_{pk}"]:
                lines.append(Credited(pk, given[f"back_{pk}"], given[f"price_{pk}"]))
            if given[f"less_{pk}"] is not None:  # by 0: freight alone comes back
                lines.append(Credited(pk, given[f"of_{pk}"] or Decimal(0), given[f"less_{pk}"], corrects=True))
        amounts = {n: given[n] or Decimal(0) for n in ("freight", "duty", "allowance", "tax")}
        return {n: given[n] for n in ("number", "dated_on", "total", "note")} | amounts | {"lines": lines}
