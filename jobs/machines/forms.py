"""What the counter fills in. How a value is typed and read; whether it may be is for the actions."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from shop.kernel.countries import countries
from shop.ui.forms import DateTimeInput, DecimalField, WholeInput

from . import entries
from .models import Customer, Machine, UsageUnit

KINDS = ("engine", "gearbox", "pump", "pump engine", "generator set", "compressor", "winch")


def _countries() -> list[tuple[str, str]]:
    return [("", "–"), *countries((get_language() or "en").split("-")[0]).items()]


def _line(label: Any, length: int, *, required: bool = False, hint: Any = "", **attrs: str) -> forms.CharField:
    widget = forms.TextInput({"autocomplete": "off"} | attrs)
    return forms.CharField(label=label, max_length=length, required=required, help_text=hint, widget=widget)


class CustomerForm(forms.Form):
    """A new customer; `CustomerEditForm` for one that is there."""

    name = _line(_("Name"), 160, required=True, hint=_("Of the person or firm that pays."))
    kind = forms.ChoiceField(
        label=_("Person or firm"), choices=Customer.Kind.choices, initial="person", widget=forms.RadioSelect
    )
    contact = _line(_("Whom to ask for"), 120)
    phone = _line(_("Phone"), 40, type="tel")
    email = forms.EmailField(
        label=_("E-mail"), max_length=254, required=False, widget=forms.EmailInput({"autocomplete": "off"})
    )
    mail_consent = forms.BooleanField(label=_("Agrees to be mailed"), required=False)
    street = _line(_("Street and number"), 160)
    postcode = _line(_("Postcode"), 20)
    city = _line(_("Town"), 80)
    country = forms.ChoiceField(label=_("Country"), choices=_countries, required=False)
    vat_no = _line(
        _("VAT number"),
        40,
        hint=_("With its country letters. Form and checksum are checked, not whether it is registered."),
    )
    language = forms.ChoiceField(
        label=_("Language of documents"), choices=list(entries.LANGUAGES.items()), initial="en"
    )
    customer_class = _line(_("Class"), 40, hint=_("In the shop's own words, such as trade or regular."))
    payment_days = forms.IntegerField(
        label=_("Days to pay"),
        min_value=0,
        max_value=365,
        required=False,
        widget=WholeInput,
        help_text=_("Empty: the shop's own."),
    )
    extra_work_limit = DecimalField(
        label=_("Extra work without asking, up to"), max_digits=14, decimal_places=4, min_value=0, required=False,
        help_text=_("On each card, before tax. Empty: ask about everything."),
    )  # fmt: skip
    note = forms.CharField(label=_("Note"), max_length=4000, required=False, widget=forms.Textarea({"rows": 3}))

    def values(self) -> dict[str, Any]:
        """The fields as the actions take them."""
        return {k: v for k, v in self.cleaned_data.items() if k != "version"}


class CustomerEditForm(CustomerForm):
    mail_consent = None  # type: ignore[assignment]  # given and withdrawn by buttons of their own
    version = forms.IntegerField(widget=forms.HiddenInput)


class MachineForm(forms.Form):
    """A new machine of a known customer; `MachineEditForm` for one that is there."""

    kind = _line(_("What it is"), 40, required=True, hint=_("Engine, gearbox, pump, generator set …"), list="kinds")
    maker = _line(_("Maker"), 80)
    model = _line(_("Model"), 80)
    serial_no = _line(_("Serial or engine number"), 60, hint=_("As stamped on the plate."), spellcheck="false")
    year = forms.IntegerField(label=_("Year built"), min_value=entries.OLDEST_YEAR, required=False, widget=WholeInput)
    usage_unit = forms.ChoiceField(label=_("Meter counts"), choices=UsageUnit.choices, initial=UsageUnit.HOURS)
    value = DecimalField(label=_("Meter shows now"), max_digits=12, decimal_places=1, required=False)
    parent_id = forms.TypedChoiceField(label=_("Belongs to"), required=False, coerce=int, empty_value=None)
    note = forms.CharField(label=_("Note"), max_length=4000, required=False, widget=forms.Textarea({"rows": 3}))

    def __init__(self, *args: Any, others: list[Machine] | tuple[Machine, ...] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [("", _("Nothing else")), *((str(m.pk), f"{m.kind}: {m}") for m in others)]
        self.fields["parent_id"].choices = choices  # type: ignore[attr-defined]
        if not others:
            self.fields["parent_id"].widget = forms.HiddenInput()

    def values(self) -> dict[str, Any]:
        """The fields of the machine as the actions take them."""
        return {k: v for k, v in self.cleaned_data.items() if k not in ("version", "value")}


class MachineEditForm(MachineForm):
    value = None  # type: ignore[assignment]  # readings are written down on the machine's page
    version = forms.IntegerField(widget=forms.HiddenInput)


class ReadingForm(forms.Form):
    value = DecimalField(label=_("Meter shows"), max_digits=12, decimal_places=1)
    read_at = forms.DateTimeField(label=_("When"), required=False, widget=DateTimeInput, help_text=_("Empty: now."))
    note = _line(_("Note"), 200, hint=_("Needed when it shows less than before, such as “new meter”."))

    def __init__(self, *args: Any, unit: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["value"].unit = unit  # type: ignore[attr-defined]


class CustomerFilter(forms.Form):
    text = forms.CharField(label=_("Name, phone, town …"), required=False, max_length=80)
    archived = forms.BooleanField(label=_("Archived"), required=False)


class MachineFilter(forms.Form):
    text = forms.CharField(label=_("Maker, model, kind"), required=False, max_length=80)
    serial = forms.CharField(label=_("Serial number"), required=False, max_length=60)
    archived = forms.BooleanField(label=_("Archived"), required=False)
