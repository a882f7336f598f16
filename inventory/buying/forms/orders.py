"""Orders and what comes of them."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.stock.forms import QUANTITY, PartCode
from shop.business.queries import sites
from shop.ui.forms import DateInput, DecimalField

from .. import queries
from ..models import Offer, OrderLine, PurchaseOrder
from .shared import SupplierChoice, line

PRICE: dict[str, Any] = {"max_digits": 16, "decimal_places": 6, "min_value": 0}


class OrderFilter(forms.Form):
    state = forms.ChoiceField(
        label=_("State"), required=False,
        choices=[("", _("All")), ("draft", _("Draft")), ("open", _("Something awaited")), ("overdue", _("Overdue")), ("closed", _("Closed"))],
    )  # fmt: skip
    supplier_id = forms.TypedChoiceField(label=_("Supplier"), required=False, coerce=int, empty_value=None)
    number = forms.CharField(label=_("Number"), max_length=20, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        every = queries.suppliers()
        self.fields["supplier_id"].choices = [("", _("All")), *((s.pk, s.name) for s in every)]  # type: ignore[attr-defined]


class OrderForm(forms.Form):
    """A new order."""

    supplier = SupplierChoice()
    site = forms.ModelChoiceField(sites(), label=_("Deliver to"), required=False, empty_label=_("The usual place"))
    wanted_on = forms.DateField(label=_("Wanted by"), required=False, widget=DateInput)
    note = forms.CharField(
        label=_("To the supplier"), max_length=4000, required=False, widget=forms.Textarea({"rows": 3}),
        help_text=_("Printed below the lines."),
    )  # fmt: skip

    def values(self) -> dict[str, Any]:
        """The fields as the actions take them."""
        given = {k: v for k, v in self.cleaned_data.items() if k not in ("version", "supplier", "site")}
        if "supplier" in self.cleaned_data:
            given["supplier_id"] = self.cleaned_data["supplier"].pk
        site = self.cleaned_data["site"]
        return given | {"site_id": site.pk if site else None}


class OrderEditForm(OrderForm):
    supplier = None  # type: ignore[assignment]
    version = forms.IntegerField(widget=forms.HiddenInput)


class NewLineForm(forms.Form):
    part = PartCode(label=_("Part"), help_text=_("Scan it, or type our number."))
    quantity = DecimalField(
        label=_("Quantity"), **QUANTITY, help_text=_("In the part's unit; filled up to whole packages.")
    )
    label = line(_("For"), 120, hint=_("Such as card 26-0031. Empty: for the shelf."))
    wanted_on = forms.DateField(label=_("Wanted by"), required=False, widget=DateInput)

    def values(self) -> dict[str, Any]:
        given = dict(self.cleaned_data)
        return given | {"part_id": given.pop("part").pk}


class PartOrderForm(NewLineForm):
    """From a part's own page."""

    part = None  # type: ignore[assignment]
    offer_id = forms.TypedChoiceField(label=_("From"), coerce=int)

    def __init__(self, *args: Any, offers: list[Offer], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(o.pk, f"{o.supplier.name}{f', {o.number}' if o.number else ''}") for o in offers]
        self.fields["offer_id"].choices = choices  # type: ignore[attr-defined]
        self.order_fields(("offer_id",))

    def values(self) -> dict[str, Any]:
        return dict(self.cleaned_data)


class LineForm(forms.Form):
    packages = DecimalField(label=_("Quantity"), **QUANTITY)
    price = DecimalField(
        label=_("Price each"), **PRICE, required=False, help_text=_("Before tax. Empty: not known yet.")
    )
    label = line(_("For"), 120)
    wanted_on = forms.DateField(label=_("Wanted by"), required=False, widget=DateInput)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, row: OrderLine, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if row.package:
            self.fields["packages"].label = _("Packages")

    def values(self) -> dict[str, Any]:
        given = {k: v for k, v in self.cleaned_data.items() if k != "version"}
        if "price" not in self.changed_data and "packages" in self.changed_data:
            del given["price"]  # the offer's for the new number
        return given


class SendForm(forms.Form):
    how = forms.ChoiceField(label=_("How it goes out"), choices=PurchaseOrder.How.choices, widget=forms.RadioSelect)
    version = forms.IntegerField(widget=forms.HiddenInput)


class ConfirmForm(forms.Form):
    """One box for each line that is awaited."""

    confirmation_no = line(_("Their confirmation"), 60, spellcheck="false")
    promised_on = forms.DateField(
        label=_("All will come on"), required=False, widget=DateInput, help_text=_("A line's own day goes before it.")
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, lines: list[OrderLine], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines = lines
        for row in lines:
            self.fields[f"line_{row.pk}"] = forms.DateField(
                label=f"{row.part.number} {row.name}", required=False, widget=DateInput, initial=row.promised_on
            )

    def values(self) -> dict[str, Any]:
        given = self.cleaned_data
        promised: dict[int, date] = {r.pk: day for r in self.lines if (day := given[f"line_{r.pk}"])}
        return {
            "confirmation_no": given["confirmation_no"], "promised_on": given["promised_on"], "promised": promised,
        }  # fmt: skip


class ChaseForm(forms.Form):
    how = forms.ChoiceField(
        label=_("How"),
        choices=[("mail", _("By mail")), ("phone", _("By phone"))],
        widget=forms.RadioSelect,
        initial="mail",
    )
    note = line(_("What they said, or what to add"), 200)
    version = forms.IntegerField(widget=forms.HiddenInput)


class CloseForm(forms.Form):
    reason = line(_("Why the rest never comes"), 200, required=True)
    version = forms.IntegerField(widget=forms.HiddenInput)
