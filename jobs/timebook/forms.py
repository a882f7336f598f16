"""What is typed about hours. How a value is read; whether it may be is for the actions."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.cards import queries as cards
from jobs.cards.models import Stage
from shop.ui.forms import DateTimeInput, DayField

from .queries import midnight


class TimesForm(forms.Form):
    stage_id = forms.TypedChoiceField(label=_("Stage"), coerce=int)
    started_at = forms.DateTimeField(label=_("From"), widget=DateTimeInput)
    ended_at = forms.DateTimeField(label=_("To"), widget=DateTimeInput)
    break_minutes = forms.IntegerField(
        label=_("Break, in minutes"), min_value=0, max_value=960, required=False,
        help_text=_("Empty: the shop's break, as far as it lies inside."),
    )  # fmt: skip
    reason = forms.CharField(label=_("Why by hand?"), max_length=200)

    def __init__(self, *args: Any, stages: Sequence[Stage], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["stage_id"].choices = [(s.pk, str(s)) for s in stages]  # type: ignore[attr-defined]


class BookForm(TimesForm):
    person_id = forms.TypedChoiceField(label=_("Who worked"), coerce=int)
    field_order = ("person_id",)

    def __init__(self, *args: Any, others: bool, **kwargs: Any) -> None:
        """`others`: hours of other people may be booked too."""
        super().__init__(*args, **kwargs)
        if others:
            people = [(p.pk, p.name) for p in cards.mechanics()]
            self.fields["person_id"].choices = people  # type: ignore[attr-defined]
        else:
            del self.fields["person_id"]


class CorrectForm(TimesForm):
    reason = forms.CharField(label=_("Why is it corrected?"), max_length=200)


class CorrectAttendanceForm(forms.Form):
    arrived_at = forms.DateTimeField(label=_("Came"), widget=DateTimeInput)
    left_at = forms.DateTimeField(label=_("Went"), widget=DateTimeInput)
    break_minutes = forms.IntegerField(
        label=_("Break, in minutes"), min_value=0, max_value=960, required=False,
        help_text=_("Empty: the shop's break, as far as it lies inside."),
    )  # fmt: skip
    reason = forms.CharField(label=_("Why is it corrected?"), max_length=200)


class AttendanceForm(CorrectAttendanceForm):
    person_id = forms.TypedChoiceField(label=_("Who was here"), coerce=int)
    reason = forms.CharField(label=_("Why by hand?"), max_length=200)
    field_order = ("person_id",)

    def __init__(self, *args: Any, others: bool, **kwargs: Any) -> None:
        """`others`: attendance of other people may be noted too."""
        super().__init__(*args, **kwargs)
        if others:
            people = [(p.pk, p.name) for p in cards.mechanics()]
            self.fields["person_id"].choices = people  # type: ignore[attr-defined]
        else:
            del self.fields["person_id"]


class HoursFilter(forms.Form):
    person = forms.TypedChoiceField(label=_("Who"), required=False, coerce=int, empty_value=None)
    first = DayField(label=_("From"), required=False)
    last = DayField(label=_("To"), required=False)
    flagged = forms.BooleanField(label=_("Forgotten clocks"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = [("", _("everybody")), *((p.pk, p.name) for p in cards.mechanics())]
        self.fields["person"].choices = people  # type: ignore[attr-defined]

    def filters(self) -> dict[str, Any]:
        """As `queries.bookings` takes them."""
        data = self.cleaned_data if self.is_valid() else {}
        found: dict[str, Any] = {"person_id": data.get("person")}
        if data.get("first"):
            found["since"] = midnight(data["first"])
        if data.get("last"):
            found["until"] = midnight(data["last"] + timedelta(days=1))
        return found | ({"flagged": True} if data.get("flagged") else {})


class AttendanceFilter(HoursFilter):
    flagged = forms.BooleanField(label=_("Gone was forgotten"), required=False)
