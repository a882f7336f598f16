"""Suppliers and how they sell parts."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from inventory.parts.forms import UNITS
from inventory.stock.forms import QUANTITY, PartCode
from shop.kernel.countries import countries
from shop.ui.forms import DecimalField, ScanInput, WholeInput, read_number

from ..packing import Step
from .shared import SupplierChoice
from .shared import line as _line


def _countries() -> list[tuple[str, str]]:
    return [("", "–"), *countries((get_language() or "en").split("-")[0]).items()]


class SupplierForm(forms.Form):
    """A new supplier; `SupplierEditForm` for one that is there."""

    name = _line(_("Name"), 160, required=True)
    account_no = _line(_("Our account with them"), 40, spellcheck="false")
    email = forms.EmailField(
        label=_("E-mail"), max_length=254, required=False, help_text=_("Where orders are sent to."),
        widget=forms.EmailInput({"autocomplete": "off"}),
    )  # fmt: skip
    phone = _line(_("Phone"), 40, type="tel")
    street = _line(_("Street and number"), 160)
    postcode = _line(_("Postcode"), 20)
    city = _line(_("Town"), 80)
    country = forms.ChoiceField(label=_("Country"), choices=_countries, required=False)
    vat_no = _line(
        _("VAT number"), 20, hint=_("Form and checksum are checked, not whether it is registered."), spellcheck="false"
    )
    currency = _line(_("Charges in"), 3, required=True, hint=_("Three letters, such as EUR."), spellcheck="false")
    lead_days = forms.IntegerField(
        label=_("Promised days to deliver"), min_value=0, max_value=730, required=False, widget=WholeInput,
        help_text=_("From order to delivery. Empty: not known."),
    )  # fmt: skip
    note = forms.CharField(label=_("Note"), max_length=4000, required=False, widget=forms.Textarea({"rows": 3}))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("currency", "EUR")

    def values(self) -> dict[str, Any]:
        """The fields as the actions take them."""
        return {k: v for k, v in self.cleaned_data.items() if k != "version"}


class SupplierEditForm(SupplierForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


class SupplierFilter(forms.Form):
    text = forms.CharField(label=_("Name, town, account …"), max_length=80, required=False)
    archived = forms.BooleanField(label=_("Archived"), required=False)


def written(steps: list[Step]) -> str:
    """Price breaks as they are typed: a line for each."""
    return "\n".join(f"{s.from_packages.normalize():f}: {s.price.normalize():f}" for s in steps)


class PricesField(forms.CharField):
    """Price breaks, a line for each: "1: 4.20", "10: 3.90"; a price alone counts from the first package on."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=600, widget=forms.Textarea({"rows": 3, "spellcheck": "false"}), **kwargs)

    def clean(self, value: Any) -> list[Step]:
        found = []
        for text in filter(None, (x.strip() for x in super().clean(value).splitlines())):
            count, colon, price = text.rpartition(":")
            found.append(Step(read_number(count if colon else "1"), read_number(price)))
        return found


class OfferEditForm(forms.Form):
    number = _line(_("Supplier's number"), 60, spellcheck="false")
    name = _line(_("In the supplier's words"), 160)
    package = _line(_("Comes in"), 40, hint=_("Box, tube, set … Empty: by the unit."))
    content = DecimalField(label=_("One holds"), **QUANTITY, min_value=0, initial=1)
    content_unit = forms.ChoiceField(label=_("Of"), choices=UNITS, initial="C62")
    gtin = forms.CharField(
        label=_("Barcode of the package (GTIN)"),
        max_length=20,
        required=False,
        widget=ScanInput(pattern="^[0-9]{8,14}$"),
    )
    prices = PricesField(
        label=_("Price of a package"), required=False,
        help_text=_("Before tax. Cheaper from more on: a line for each, such as 1: 4.20 and 10: 3.90."),
    )  # fmt: skip
    currency = _line(_("Currency"), 3, hint=_("Empty: the supplier's."), spellcheck="false")
    min_packages = DecimalField(label=_("Sold from so many packages"), **QUANTITY, min_value=0, initial=1)
    lead_days = forms.IntegerField(
        label=_("Promised days to deliver"), min_value=0, max_value=730, required=False, widget=WholeInput,
        help_text=_("Empty: as the supplier's."),
    )  # fmt: skip
    preferred = forms.BooleanField(
        label=_("Ordered here when nobody says otherwise"), required=False,
    )  # fmt: skip
    note = _line(_("Note"), 200)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def values(self) -> dict[str, Any]:
        """The fields as the actions take them."""
        given = {k: v for k, v in self.cleaned_data.items() if k != "version"}
        if not given["currency"]:
            del given["currency"]
        return given


class OfferForm(OfferEditForm):
    version = None  # type: ignore[assignment]
    supplier = SupplierChoice()
    part = PartCode(label=_("Part"), help_text=_("Scan it, or type our number."))
    field_order = ("supplier", "part")

    def values(self) -> dict[str, Any]:
        given = super().values()
        return given | {"supplier_id": given.pop("supplier").pk, "part_id": given.pop("part").pk}
