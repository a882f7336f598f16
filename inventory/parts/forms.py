"""What is filled in about a part. How a value is typed and read; whether it may be is for the actions."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.kernel import units
from shop.ui.forms import DecimalField, ScanInput

from .models import PartKind

# What a shop counts and measures in, the usual ones first
_UNITS = [units.unit(code) for code in ("C62", "PR", "SET", "MLT", "LTR", "GRM", "KGM", "MMT", "MTR", "CMK", "MTK")]
_REST = [
    u
    for u in units.UNITS.values()
    if u.dimension in {k.dimension for k in _UNITS} and u not in _UNITS and not u.retired
]
UNITS = [(u.code, f"{u.name} ({u.symbol})") for u in [*_UNITS, *_REST]]


def _line(label: Any, length: int, *, required: bool = False, hint: Any = "", **attrs: str) -> forms.CharField:
    widget = forms.TextInput({"autocomplete": "off"} | attrs)
    return forms.CharField(label=label, max_length=length, required=required, help_text=hint, widget=widget)


class PartForm(forms.Form):
    """A new part; `PartEditForm` for one that is there."""

    number = _line(_("Number"), 40, required=True, hint=_("On the shelf and on the label."), spellcheck="false")
    name = _line(_("Name"), 160, required=True)
    kind = forms.ChoiceField(label=_("Kind"), choices=PartKind.choices)
    unit = forms.ChoiceField(label=_("Counted in"), choices=UNITS, initial="C62")
    single_use = forms.BooleanField(
        label=_("Single use"),
        required=False,
        help_text=_("Once fitted it does not come back, not even from a trial fit."),
    )
    sale_price = DecimalField(
        label=_("Sale price"), max_digits=14, decimal_places=6, min_value=0, required=False,
        help_text=_("Per unit, before tax."),
    )  # fmt: skip
    tax_code = _line(_("VAT rate"), 20, hint=_("Empty: the shop's usual rate."))
    barcode = forms.CharField(label=_("Barcode"), max_length=48, required=False, widget=ScanInput())
    shelf_life_days = forms.IntegerField(
        label=_("Keeps closed, in days"), min_value=1, required=False, help_text=_("From receipt. Empty: it keeps.")
    )
    open_life_days = forms.IntegerField(label=_("Keeps opened, in days"), min_value=1, required=False)
    hazards = _line(
        _("Hazard codes"), 400, hint=_("H and P codes of the safety data sheet, such as H225 P210."), spellcheck="false"
    )
    storage_note = _line(_("How it is kept"), 200)
    reorder_point = DecimalField(
        label=_("Order when there are"), max_digits=18, decimal_places=6, min_value=0, required=False,
        help_text=_("Or fewer. Empty: no reminder."),
    )  # fmt: skip
    note = forms.CharField(label=_("Note"), max_length=4000, required=False, widget=forms.Textarea({"rows": 3}))

    def clean_hazards(self) -> list[str]:
        return [code for code in re.split(r"[\s,;]+", self.cleaned_data["hazards"]) if code]

    def values(self) -> dict[str, Any]:
        """The fields as the actions take them."""
        return {k: v for k, v in self.cleaned_data.items() if k != "version"}


class PartEditForm(PartForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


class PartFilter(forms.Form):
    text = forms.CharField(label=_("Number, name or barcode"), max_length=80, required=False, widget=ScanInput())
    kind = forms.ChoiceField(label=_("Kind"), required=False, choices=[("", _("All")), *PartKind.choices])
    archived = forms.BooleanField(label=_("Archived"), required=False)
