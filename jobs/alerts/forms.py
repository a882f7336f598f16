"""What is filled in about alerts. How a value is typed and read; whether it may be is for the actions."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.ui.forms import DateInput

from .models import MailChoice


class AsideForm(forms.Form):
    until = forms.DateField(
        label=_("Until"), required=False, widget=DateInput(),
        help_text=_("Left empty: until it changes. A change always brings it back."),
    )  # fmt: skip


class MailForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)
    mail = forms.ChoiceField(label=_("Mail of the day's alerts"), choices=MailChoice.Mail.choices)
