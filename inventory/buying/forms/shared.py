from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from .. import queries


def line(label: Any, length: int, *, required: bool = False, hint: Any = "", **attrs: str) -> forms.CharField:
    widget = forms.TextInput({"autocomplete": "off"} | attrs)
    return forms.CharField(label=label, max_length=length, required=required, help_text=hint, widget=widget)


class SupplierChoice(forms.ModelChoiceField):
    """One of the suppliers in use."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(queries.suppliers(), label=kwargs.pop("label", _("Supplier")), **kwargs)
