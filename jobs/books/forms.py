from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.kernel import clock
from shop.ui.forms import DayField

from .accounts import ALL, BY_KEY
from .gathering import month_after

LONGEST = 366  # days of one file or page
TOO_LONG = _("Take at most a year at once.")


class SpanFilter(forms.Form):
    """Days from and to; left out, the current month."""

    longest = LONGEST
    too_long = TOO_LONG

    since = DayField(label=_("From"), required=False)
    until = DayField(label=_("To"), required=False)

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        since, until = self.days(found)
        if not self.errors and until < since:
            self.add_error("until", _("This lies before the first day."))
        elif not self.errors and (until - since).days > self.longest:
            self.add_error("until", self.too_long)
        return found

    def days(self, given: dict[str, Any]) -> tuple[date, date]:
        """First and last day. One alone: the month it begins, or ends."""
        since, until = given.get("since"), given.get("until")
        first = since or (until or clock.today()).replace(day=1)
        return first, until or last_of(first)

    def span(self) -> tuple[date, date]:
        return self.days(self.cleaned_data if self.is_valid() else {})


def last_of(day: date) -> date:
    return date.fromordinal(month_after(day).toordinal() - 1)


class JournalFilter(SpanFilter):
    """Also what of the journal is shown: postings to an account, of a purpose, at a VAT rate; links bring it."""

    account = forms.CharField(max_length=20, required=False, widget=forms.HiddenInput)
    purpose = forms.ChoiceField(choices=[(key, key) for key in BY_KEY], required=False, widget=forms.HiddenInput)
    tax = forms.CharField(max_length=12, required=False, widget=forms.HiddenInput)

    def sought(self) -> dict[str, str]:
        given = self.cleaned_data if self.is_valid() else {}
        return {name: given[name] for name in ("account", "purpose", "tax") if given.get(name)}


class DayFilter(forms.Form):
    day = DayField(label=_("At the end of"), required=False)


class CloseForm(forms.Form):
    month = DayField(widget=forms.HiddenInput, input_formats=["%Y-%m-%d"])


class ReopenForm(forms.Form):
    closing = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=2**63 - 1)
    reason = forms.CharField(label=_("Why"), max_length=200)


class AccountForm(forms.Form):
    purpose = forms.ChoiceField(label=_("For"), choices=[(p.key, p.name) for p in ALL])
    number = forms.CharField(label=_("Account number"), max_length=20)
    name = forms.CharField(label=_("Account name"), max_length=80)
    tax = forms.CharField(
        label=_("Only at this VAT rate"), max_length=12, required=False,
        help_text=_("For sales, VAT and deposits: category and rate, such as S 23. Empty: every rate."),
    )  # fmt: skip
