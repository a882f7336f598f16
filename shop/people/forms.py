"""Forms of the people room: shape only."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django import forms

from shop.kernel import clock
from shop.kernel.errors import DomainError
from shop.kernel.rights import Role
from shop.ui.forms import DecimalField

from .actions import signing
from .models import Person

NEW = forms.PasswordInput({"autocomplete": "new-password"})
ROLES = [
    (Role.OWNER, "Owner: everything"),
    (Role.OFFICE, "Office: customers, cards, estimates, invoices"),
    (Role.MECHANIC, "Mechanic: stages, hours, drawing parts"),
    (Role.STORES, "Stores: parts, stock, buying"),
]
LASTS = [("30", "30 days"), ("90", "90 days"), ("365", "a year"), ("", "until it is revoked")]


class Confirmed(forms.Form):
    """Asks for the present password once more; checked last, when all else is right, since each try counts."""

    password = forms.CharField(
        label="Your present password",
        max_length=1000,
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "current-password"}),
    )

    def __init__(self, person: Person, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person
        self.order_fields([*(n for n in self.fields if n != "password"), "password"])

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not self.errors:
            try:
                signing.confirm(self.person, data["password"])
            except DomainError as error:
                self.add_error("password", error.message)
        return data


class PasswordForm(Confirmed):
    new_password = forms.CharField(
        label="New password",
        max_length=1000,
        strip=False,
        widget=NEW,
        help_text="At least 10 characters. Three unrelated words are good and easy to keep in mind.",
    )
    again = forms.CharField(label="New password again", max_length=1000, strip=False, widget=NEW)

    def clean_again(self) -> str:
        if self.cleaned_data["again"] != self.cleaned_data.get("new_password"):
            raise forms.ValidationError("The two don't match. Type the new password twice.")
        return self.cleaned_data["again"]


class PinForm(Confirmed):
    pin = forms.CharField(
        label="New PIN",
        max_length=12,
        help_text="6 to 12 digits; no row, repeat or mirror. It works on enrolled bench tablets only.",
        widget=forms.PasswordInput({"inputmode": "numeric", "autocomplete": "off"}),
    )


class TokenForm(Confirmed):
    label = forms.CharField(label="What is it for?", max_length=80, help_text="So that you know later which to revoke.")
    lasts = forms.ChoiceField(label="It works for", choices=LASTS, required=False, initial="365")

    @property
    def expires_at(self) -> Any:
        days = self.cleaned_data["lasts"]
        return clock.now() + timedelta(days=int(days)) if days else None


class TwoStepForm(Confirmed):
    code = forms.CharField(
        label="Code that your authenticator shows now",
        max_length=10,
        widget=forms.TextInput({"inputmode": "numeric", "autocomplete": "one-time-code", "class": "code"}),
    )


class PersonForm(forms.Form):
    name = forms.CharField(label="Name", max_length=120, help_text="As it stands in histories and on documents.")
    username = forms.CharField(
        label="User name", max_length=40, help_text="Small letters, digits, dots, dashes; for signing in.",
        widget=forms.TextInput({"autocapitalize": "none", "spellcheck": "false", "autocomplete": "off"}),
    )  # fmt: skip
    email = forms.EmailField(label="E-mail", required=False)
    roles = forms.MultipleChoiceField(label="Roles", choices=ROLES, widget=forms.CheckboxSelectMultiple)
    labour_class = forms.CharField(
        label="Labour class",
        max_length=40,
        required=False,
        help_text="Your own word, such as master; for rates and stages.",
    )
    cost_per_hour = DecimalField(
        label="Cost of an hour", unit="", required=False, max_digits=12, decimal_places=4, min_value=0,
        help_text="What an hour costs the shop, not what it is sold at. Only owner, office and stores see costs.",
    )  # fmt: skip


class NewPersonForm(PersonForm):
    password = forms.CharField(
        label="First password", max_length=1000, strip=False, widget=NEW,
        help_text="At least 10 characters. It is replaced at the first sign-in.",
    )  # fmt: skip


class EditPersonForm(PersonForm):
    is_active = forms.BooleanField(
        label="Works here", required=False,
        help_text="Taking this off ends every session and token at once. The history stays.",
    )  # fmt: skip
    version = forms.IntegerField(widget=forms.HiddenInput)


class GivenPasswordForm(forms.Form):
    password = forms.CharField(
        label="New password", max_length=1000, strip=False, widget=NEW,
        help_text="Tell it in person. It is replaced at the next sign-in.",
    )  # fmt: skip


class TabletForm(forms.Form):
    label = forms.CharField(label="Where the tablet stands", max_length=80, help_text="Such as: bench 2, by the crane.")
