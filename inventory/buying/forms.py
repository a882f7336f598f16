"""What is filled in about suppliers. How a value is typed and read; whether it may be is for the actions."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from shop.kernel.countries import countries
from shop.ui.forms import WholeInput


def _countries() -> list[tuple[str, str]]:
    return [("", "–"), *countries((get_language() or "en").split("-")[0]).items()]


def _line(label: Any, length: int, *, required: bool = False, hint: Any = "", **attrs: str) -> forms.CharField:
    widget = forms.TextInput({"autocomplete": "off"} | attrs)
    return forms.CharField(label=label, max_length=length, required=required, help_text=hint, widget=widget)


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
