"""What the owner fills in. How a value is typed and read; whether it may be is for the actions."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from babel import Locale
from django import forms
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from shop.documents.formatting import languages
from shop.kernel.countries import countries
from shop.ui.forms import DateInput, DecimalField, WholeInput

from .rates import CATEGORIES, STAGE_KINDS


def _countries() -> list[tuple[str, str]]:
    return [("", "–"), *countries((get_language() or "en").split("-")[0]).items()]


def _line(label: Any, length: int, *, required: bool = False, hint: Any = "", **attrs: str) -> forms.CharField:
    widget = forms.TextInput({"autocomplete": "off"} | attrs)
    return forms.CharField(label=label, max_length=length, required=required, help_text=hint, widget=widget)


def _time(label: Any, *, required: bool = True) -> forms.TimeField:
    widget = forms.TimeInput({"type": "time"}, format="%H:%M")
    return forms.TimeField(label=label, required=required, widget=widget, input_formats=["%H:%M", "%H:%M:%S"])


class _Form(forms.Form):
    def values(self) -> dict[str, Any]:
        """The fields as the actions take them."""
        return {k: v for k, v in self.cleaned_data.items() if k != "version"}


class ProfileForm(_Form):
    """`currency` is asked once: `settled` leaves it out."""

    name = _line(_("Name"), 120, required=True, hint=_("As customers know it; the head of every document."))
    legal_name = _line(_("Legal name"), 160, hint=_("If it is another, such as that of a company."))
    street = _line(_("Street and number"), 160)
    postcode = _line(_("Postcode"), 20)
    city = _line(_("Town"), 80)
    country = forms.ChoiceField(label=_("Country"), choices=_countries)
    phone = _line(_("Phone"), 40, type="tel")
    email = forms.EmailField(
        label=_("E-mail"), max_length=254, required=False, widget=forms.EmailInput({"autocomplete": "off"})
    )
    website = _line(_("Website"), 120)
    vat_no = _line(
        _("VAT number"), 20,
        hint=_("With its country letters. Form and checksum are checked, not whether it is registered."),
    )  # fmt: skip
    registration = _line(_("Registration"), 80, hint=_("Company register and number, where the law asks for it."))
    iban = _line(_("IBAN"), 42, hint=_("Where customers pay to. Its checksum is checked."), spellcheck="false")
    bic = _line(_("BIC"), 11, spellcheck="false")
    currency = _line(
        _("Currency"), 3, required=True,
        hint=_("Three letters, such as EUR. It can't change once this page is saved."),
    )  # fmt: skip
    payment_days = forms.IntegerField(
        label=_("Days to pay"), min_value=0, max_value=365, widget=WholeInput,
        help_text=_("For customers without days of their own."),
    )  # fmt: skip
    estimate_days = forms.IntegerField(
        label=_("Estimates hold for, in days"), min_value=1, max_value=365, widget=WholeInput
    )
    sundries_percent = DecimalField(
        label=_("Sundries"), unit="%", max_digits=6, decimal_places=3, min_value=0, max_value=100,
        help_text=_("Rags, cleaner, small fixings: added on parts and labour of an estimate. 0: none."),
    )  # fmt: skip
    document_note = forms.CharField(
        label=_("At the foot of documents"), max_length=2000, required=False, widget=forms.Textarea({"rows": 3})
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, settled: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if settled:
            del self.fields["currency"]


def _days(label: Any, least: int = 0, hint: Any = "") -> forms.IntegerField:
    return forms.IntegerField(label=label, min_value=least, max_value=365, widget=WholeInput, help_text=hint)


def _fee(label: Any) -> DecimalField:
    return DecimalField(label=label, max_digits=18, decimal_places=4, min_value=0)


class TermsForm(_Form):
    early_percent = DecimalField(
        label=_("Discount for early payment"), unit="%", max_digits=6, decimal_places=3, min_value=0, max_value=50,
        help_text=_("Stands on invoices from then on. 0: none."),
    )  # fmt: skip
    early_days = _days(_("if paid within, in days"))
    cash_step = DecimalField(
        label=_("Cash is rounded to"), max_digits=18, decimal_places=4, min_value=0,
        help_text=_("Such as 0.05. 0: to the cent."),
    )  # fmt: skip
    remind_days_1 = _days(_("First letter, days after the due day"))
    remind_fee_1 = _fee(_("Fee of the first letter"))
    remind_days_2 = _days(_("Second letter, days after the first"), 1)
    remind_fee_2 = _fee(_("Fee of the second letter"))
    remind_days_3 = _days(_("Last letter, days after the second"), 1)
    remind_fee_3 = _fee(_("Fee of the last letter"))
    remind_pay_days = _days(_("A letter asks for payment within, in days"), 1)
    interest_percent = DecimalField(
        label=_("Interest on what is overdue"), unit="%", max_digits=6, decimal_places=3, min_value=0,
        max_value=100, help_text=_("A year. 0: none from its day on; to ask for none at all, say never below."),
    )  # fmt: skip
    interest_since = forms.DateField(
        label=_("A new percentage holds from"), required=False, widget=DateInput,
        help_text=_("Days before keep the old one. Empty: today; the first one ever set holds for all that is overdue."),
    )  # fmt: skip
    interest_from = forms.TypedChoiceField(
        label=_("asked for"), coerce=int,
        choices=[(1, _("from the first letter")), (2, _("from the second letter")), (3, _("in the last letter")),
                 (4, _("never"))],
    )  # fmt: skip
    storage_free_days = forms.IntegerField(
        label=_("A finished machine stands free for, in days"), min_value=0, max_value=3650, widget=WholeInput
    )
    storage_per_day = DecimalField(
        label=_("then costs per day, without VAT"), max_digits=18, decimal_places=4, min_value=0,
        help_text=_("Proposed for the invoice, never charged by itself. 0: none."),
    )  # fmt: skip
    version = forms.IntegerField(widget=forms.HiddenInput)


class SiteForm(_Form):
    code = _line(_("Short name"), 12, required=True, hint=_("Stands before bins and on lists, such as QUAY."))
    name = _line(_("Name"), 80, required=True)


class SiteEditForm(SiteForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


class HoursForm(_Form):
    starts = _time(_("From"))
    ends = _time(_("To"))
    break_starts = _time(_("Break from"), required=False)
    break_ends = _time(_("Break to"), required=False)


class ClosedForm(_Form):
    day = forms.DateField(label=_("Day"), widget=DateInput)
    reason = _line(_("Why"), 120, required=True, hint=_("Such as a public holiday or stocktaking."))


class _ReasonForm(_Form):
    """Asks for the words by document language, too."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for code in languages():
            label = _("The same in documents in %(language)s") % {
                "language": Locale(code).get_display_name((get_language() or "en").split("-")[0])
            }
            self.fields[f"reason_{code}"] = _line(label, 200, hint=_("Left out: the words above."))
        names = list(self.fields)
        at = names.index("reason") + 1
        own = [f"reason_{code}" for code in languages()]
        self.order_fields([*names[:at], *own, *[x for x in names[at:] if x not in own]])

    def values(self) -> dict[str, Any]:
        given = super().values()
        return given | {"reasons": {code: given.pop(f"reason_{code}") for code in languages()}}


class TaxForm(_ReasonForm):
    code = _line(
        _("Code"), 20, required=True, hint=_("Your own short name, such as S23. It stays when the rate changes.")
    )
    name = _line(_("Name"), 80, required=True)
    category = forms.ChoiceField(
        label=_("Category"), choices=[(code, f"{code}: {text}") for code, text in CATEGORIES.items()],
        help_text=_("As EN 16931 has it for electronic invoices."),
    )  # fmt: skip
    percent = DecimalField(label=_("Rate"), unit="%", max_digits=6, decimal_places=3, min_value=0, max_value=100)
    reason = _line(
        _("Why no VAT is charged"), 200,
        hint=_("For E, AE, K, G and O: the words that stand on the document. Your tax adviser knows them."),
    )  # fmt: skip
    valid_from = forms.DateField(label=_("From"), widget=DateInput)
    is_default = forms.BooleanField(label=_("Use it when nobody says otherwise"), required=False)


class TaxEditForm(_ReasonForm):
    name = _line(_("Name"), 80, required=True)
    reason = _line(_("Why no VAT is charged"), 200, hint=_("For E, AE, K, G and O: the words on the document."))
    version = forms.IntegerField(widget=forms.HiddenInput)


class TaxChangeForm(_Form):
    percent = DecimalField(label=_("New rate"), unit="%", max_digits=6, decimal_places=3, min_value=0, max_value=100)
    valid_from = forms.DateField(
        label=_("From"), widget=DateInput, help_text=_("The old rate holds until the day before. What is issued stays.")
    )
    version = forms.IntegerField(widget=forms.HiddenInput)


class TaxEndForm(_Form):
    valid_to = forms.DateField(label=_("Last day"), widget=DateInput)
    version = forms.IntegerField(widget=forms.HiddenInput)


class LabourForm(_Form):
    per_hour = DecimalField(label=_("An hour costs the customer"), max_digits=9, decimal_places=4, min_value=0)
    stage_kind = forms.ChoiceField(
        label=_("For stages of this kind"), required=False,
        choices=[("", _("any")), *((kind, kind.capitalize()) for kind in STAGE_KINDS)],
    )  # fmt: skip
    labour_class = _line(
        _("For hours of this class"), 40, hint=_("As it stands with people and stages, such as apprentice. Empty: any.")
    )
    minimum_hours = DecimalField(
        label=_("Hours billed at least"), unit="h", required=False, max_digits=4, decimal_places=2, min_value=0,
        help_text=_("Of a stage that is worked on at all, where the customer was told so. Empty: what it takes."),
    )  # fmt: skip
    valid_from = forms.DateField(label=_("From"), widget=DateInput)

    def __init__(self, *args: Any, currency: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["per_hour"].unit = currency  # type: ignore[attr-defined]

    def values(self) -> dict[str, Any]:
        found = super().values()
        return found | {"minimum_hours": found["minimum_hours"] or Decimal(0)}


class LabourEditForm(LabourForm):
    stage_kind = labour_class = valid_from = None  # type: ignore[assignment]  # what it is for can't change
    version = forms.IntegerField(widget=forms.HiddenInput)
