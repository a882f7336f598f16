"""What is typed about accounts."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.kernel import clock
from shop.ui.forms import DayField


class Period(forms.Form):
    """From a day to a day; the last three months when nothing is given."""

    since = DayField(label=_("From"), required=False)
    until = DayField(label=_("To"), required=False)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("since") and given.get("until") and given["since"] > given["until"]:
            self.add_error("until", _("The end lies before the beginning."))
        return given

    def days(self) -> tuple[date, date]:
        given = self.cleaned_data if self.is_valid() else {}
        until = given.get("until") or clock.today()
        return given.get("since") or until - timedelta(days=90), until


class DisputeForm(forms.Form):
    reason = forms.CharField(
        label=_("What the customer says"),
        max_length=300,
        help_text=_("No letter about it goes out until it is settled."),
    )


class OutcomeForm(forms.Form):
    outcome = forms.CharField(label=_("How it was settled"), max_length=300)
