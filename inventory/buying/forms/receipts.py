"""Deliveries: counted, posted, sent back."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.stock.forms import QUANTITY, BinCode, PartCode
from inventory.stock.models import Balance
from shop.ui.forms import DateInput, DecimalField, ScanInput

from .. import queries
from .orders import PRICE
from .shared import line

# as many decimals as the finest currency has (ISO 4217); what a supplier's currency has, the action asks for
MONEY: dict[str, Any] = {"max_digits": 16, "decimal_places": 4, "min_value": 0, "required": False}


class ReceiptFilter(forms.Form):
    supplier_id = forms.TypedChoiceField(label=_("Supplier"), required=False, coerce=int, empty_value=None)
    delivery_note = line(_("Delivery note"), 60)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        every = [(s.pk, s.name) for s in queries.suppliers()]
        self.fields["supplier_id"].choices = [("", _("All")), *every]  # type: ignore[attr-defined]


class OpenForm(forms.Form):
    """A delivery came: of an order, or of a supplier."""

    source = forms.ChoiceField(label=_("What came"))
    delivery_note = line(
        _("Delivery note"), 60, required=True, hint=_("The supplier's number on it."), spellcheck="false"
    )
    delivered_on = forms.DateField(label=_("Came on"), required=False, widget=DateInput, help_text=_("Empty: today."))
    bin = BinCode(
        label=_("Into bin"), required=False, help_text=_("Scan it, or type the code. Empty: the first shelf there.")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        orders = [
            (f"order-{o.pk}", f"{o.number} {o.supplier.name}")
            for o in queries.orders(state="open").order_by("-id")[:200]
        ]
        sellers = [(f"supplier-{s.pk}", s.name) for s in queries.suppliers()]
        self.fields["source"].choices = [(_("Of an order"), orders), (_("Of no order"), sellers)]  # type: ignore[attr-defined]

    def values(self) -> dict[str, Any]:
        """As `actions.open_receipt` takes them."""
        given = dict(self.cleaned_data)
        kind, _dash, pk = given.pop("source").partition("-")
        bin_ = given.pop("bin")
        return given | {f"{kind}_id": int(pk), "bin_id": bin_.pk if bin_ else None}


class ReceiptForm(forms.Form):
    """What belongs to the delivery as a whole."""

    delivery_note = line(_("Delivery note"), 60, required=True, spellcheck="false")
    delivered_on = forms.DateField(label=_("Came on"), widget=DateInput)
    bin = BinCode(label=_("Into bin"))
    freight = DecimalField(label=_("Freight"), **MONEY, help_text=_("Before tax; spread over the lines by value."))
    duty = DecimalField(label=_("Duty"), **MONEY, help_text=_("Before tax; spread the same way."))
    rate = DecimalField(label=_("Rate"), max_digits=14, decimal_places=8, min_value=0)
    note = line(_("Note"), 200)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, currency: str, own: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("freight", "duty"):
            self.fields[name].unit = currency  # type: ignore[attr-defined]
        if currency == own:
            del self.fields["rate"]
        else:
            self.fields["rate"].label = _("1 %(currency)s is in %(own)s") % {"currency": currency, "own": own}

    def values(self) -> dict[str, Any]:
        given = {k: v for k, v in self.cleaned_data.items() if k != "version"}
        for name in ("freight", "duty"):
            given[name] = given[name] or Decimal(0)
        return given | {"bin_id": given.pop("bin").pk}


class ScanForm(forms.Form):
    code = forms.CharField(
        label=_("Scan what came"), max_length=400, widget=ScanInput(),
        help_text=_("The code on the package, or type our number or the supplier's. Each scan counts one package."),
    )  # fmt: skip


class ReceiptLineForm(forms.Form):
    quantity = DecimalField(label=_("Quantity"), **QUANTITY)
    price = DecimalField(label=_("Price"), **PRICE, required=False)
    batch = line(_("Supplier's batch"), 40, spellcheck="false")
    expires_on = forms.DateField(label=_("Use until"), required=False, widget=DateInput)
    serial_no = line(_("Serial number"), 60, hint=_("Only for a single piece."), spellcheck="false")
    bin = BinCode(label=_("Into bin"), required=False, help_text=_("Empty: as the whole delivery."))
    quarantine_reason = line(
        _("Why an expired batch is taken in"), 200, hint=_("Only into a quarantine bin; an owner posts it.")
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def values(self) -> dict[str, Any]:
        given = {k: v for k, v in self.cleaned_data.items() if k != "version"}
        bin_ = given.pop("bin")
        return given | {"bin_id": bin_.pk if bin_ else None}


class NewReceiptLineForm(ReceiptLineForm):
    version = None  # type: ignore[assignment]
    part = PartCode(label=_("Part"), help_text=_("Scan it, or type our number."))
    field_order = ("part", "quantity")

    def values(self) -> dict[str, Any]:
        given = super().values()
        field = self.fields["part"]
        read = field.elements if isinstance(field, PartCode) else None
        if read is not None:
            given["batch"] = given["batch"] or read.batch or ""
            given["expires_on"] = given["expires_on"] or read.expires_on or read.best_before
            given["serial_no"] = given["serial_no"] or read.serial or ""
        return given | {"part_id": given.pop("part").pk}


class OverForm(forms.Form):
    reason = line(_("Why it is kept"), 200, required=True)


class SendBackForm(forms.Form):
    quantity = DecimalField(label=_("Quantity"), **QUANTITY)
    bin_id = forms.TypedChoiceField(label=_("Out of bin"), coerce=int)
    reason = line(_("Why"), 120, required=True)
    replace = forms.BooleanField(label=_("They replace it: it is awaited again"), required=False, initial=True)

    def __init__(self, *args: Any, lying: list[Balance], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["bin_id"].choices = [(b.bin_id, b.bin.code) for b in lying]  # type: ignore[attr-defined]
