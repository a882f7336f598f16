"""What the counter fills in when a machine comes in."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.cards.forms import OpenCardForm
from jobs.machines.forms import CustomerForm, MachineForm
from shop.ui.forms import DecimalField


class NewOwnerForm(CustomerForm):
    """The little that is asked of a new customer at the counter; the rest waits for their own page."""

    _ASKED = ("name", "kind", "phone", "email", "street", "postcode", "city", "country", "vat_no", "mail_consent")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields = {name: self.fields[name] for name in self._ASKED}


class NewMachineForm(MachineForm):
    value = None  # type: ignore[assignment]  # the meter is read with the card


class TakeInForm(OpenCardForm):
    usage = DecimalField(label=_("Meter shows now"), max_digits=12, decimal_places=1, required=False)
    usage_note = forms.CharField(
        label=_("Note on the meter"), max_length=200, required=False,
        help_text=_("Needed when it shows less than before, such as “new meter”."),
    )  # fmt: skip
    field_order = ("complaint", "came_with", "usage", "usage_note", "promised_on", "site_id", "plan_ids", "booked")

    def __init__(self, *args: Any, unit: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["usage"].unit = unit  # type: ignore[attr-defined]


class RecallForm(forms.Form):
    """What the letters of a recall say beside the list of machines."""

    what = forms.CharField(label=_("What is wrong with it"), max_length=1000, widget=forms.Textarea({"rows": 3}))
    todo = forms.CharField(
        label=_("What the customer should do"), max_length=1000, required=False, widget=forms.Textarea({"rows": 3}),
        help_text=_("Empty: please call us before you use the machine again."),
    )  # fmt: skip
