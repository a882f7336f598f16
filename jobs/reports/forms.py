from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.books.forms import SpanFilter

TEN_YEARS = 3660  # days


class LongSpan(SpanFilter):
    longest = TEN_YEARS
    too_long = _("Take at most ten years at once.")


class SoldFilter(LongSpan):
    """`person` 0: hours of nobody who booked for them; left out: everybody's."""

    person = forms.IntegerField(min_value=0, max_value=2**63 - 1, required=False, widget=forms.HiddenInput)
