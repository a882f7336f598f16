"""What is typed about cards and stages. How a value is read; whether it may be is for the actions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.plans.models import PlanGate, StageKind, WorkPlan
from shop.business import queries as business
from shop.ui.forms import DateInput, DecimalField

from . import queries
from .models import Hold, Stage
from .state import CARD_WORDS


def _lines(rows: int = 3) -> forms.Textarea:
    return forms.Textarea({"rows": rows})


class CardForm(forms.Form):
    """What is said about a card, new or not."""

    complaint = forms.CharField(
        label=_("Complaint"), max_length=4000, widget=_lines(4), help_text=_("In the customer's own words.")
    )
    came_with = forms.CharField(
        label=_("What came with it"), max_length=2000, required=False, widget=_lines(2),
        help_text=_("Manuals, loose parts, keys, a cradle …"),
    )  # fmt: skip
    promised_on = forms.DateField(label=_("Promised for"), required=False, widget=DateInput)
    site_id = forms.TypedChoiceField(label=_("Site"), coerce=int, required=False, empty_value=None)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sites = [(s.pk, s.name) for s in business.sites()]
        if len(sites) < 2:
            del self.fields["site_id"]
        else:
            self.fields["site_id"].choices = sites  # type: ignore[attr-defined]

    def values(self) -> dict[str, Any]:
        return {k: v for k, v in self.cleaned_data.items() if k != "version"}


class OpenCardForm(CardForm):
    plan_ids = forms.TypedMultipleChoiceField(
        label=_("Work plans"), coerce=int, required=False, widget=forms.CheckboxSelectMultiple,
        help_text=_("Their stages and gates are copied onto the card, where they can be changed freely."),
    )  # fmt: skip
    booked = forms.BooleanField(label=_("Only booked: the machine comes in later"), required=False)

    def __init__(self, *args: Any, plans: Sequence[WorkPlan] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if plans:
            self.fields["plan_ids"].choices = [(p.pk, p.name) for p in plans]  # type: ignore[attr-defined]
        else:
            del self.fields["plan_ids"]

    def values(self) -> dict[str, Any]:
        values = super().values()
        return values | {"arrived": not values.pop("booked")}


class EditCardForm(CardForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


class StageForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=120)
    kind = forms.ChoiceField(label=_("Kind"), choices=StageKind.choices)
    standard_hours = DecimalField(
        label=_("Standard hours"), unit="h", required=False, max_digits=8, decimal_places=2, min_value=0
    )
    mechanic_id = forms.TypedChoiceField(label=_("Mechanic"), required=False, coerce=int, empty_value=None)
    done_by = forms.CharField(
        label=_("Who may do it"), max_length=40, required=False, help_text=_("A labour class. Empty: any mechanic.")
    )
    after_ids = forms.TypedMultipleChoiceField(
        label=_("Comes after"), coerce=int, required=False, widget=forms.CheckboxSelectMultiple,
        help_text=_("These must be finished before it starts."),
    )  # fmt: skip
    chargeable = forms.BooleanField(label=_("Charged to the customer"), required=False, initial=True)
    needs_go_ahead = forms.BooleanField(
        label=_("Needs the customer's go-ahead"), required=False, initial=True,
        help_text=_("Finding out what is wrong usually doesn't; everything charged after that does."),
    )  # fmt: skip
    instructions = forms.CharField(label=_("Instructions"), max_length=10_000, required=False, widget=_lines())
    cautions = forms.CharField(
        label=_("Cautions"), max_length=10_000, required=False, widget=_lines(2),
        help_text=_("What can hurt. The maker's manual and the local rules come first."),
    )  # fmt: skip

    def __init__(self, *args: Any, before: Sequence[Stage] = (), **kwargs: Any) -> None:
        """`before`: the stages it may come after."""
        super().__init__(*args, **kwargs)
        people = [("", _("nobody yet")), *((p.pk, p.name) for p in queries.mechanics())]
        self.fields["mechanic_id"].choices = people  # type: ignore[attr-defined]
        if before:
            self.fields["after_ids"].choices = [(s.pk, str(s)) for s in before]  # type: ignore[attr-defined]
        else:
            del self.fields["after_ids"]

    def values(self) -> dict[str, Any]:
        values = {k: v for k, v in self.cleaned_data.items() if k != "version"}
        if values["standard_hours"] is None:
            del values["standard_hours"]
        return values


class EditStageForm(StageForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


class ReasonForm(forms.Form):
    reason = forms.CharField(label=_("Why?"), max_length=200)


class OverrideForm(forms.Form):
    """The owner's reason to start a stage out of order; not asked unless it is needed."""

    override_reason = forms.CharField(label=_("Why start it all the same?"), max_length=200, required=False)


class HoldForm(forms.Form):
    reason = forms.ChoiceField(label=_("It waits for"), choices=Hold.Reason.choices, widget=forms.RadioSelect)
    note = forms.CharField(
        label=_("Note"), max_length=300, required=False, help_text=_("Which part, until when, who was asked.")
    )


class NoteForm(forms.Form):
    text = forms.CharField(label=_("Note"), max_length=4000, widget=_lines())
    stage_id = forms.IntegerField(required=False, widget=forms.HiddenInput)


class GateForm(forms.Form):
    text = forms.CharField(label=_("What must be true"), max_length=200)
    when = forms.ChoiceField(label=_("Signed"), choices=PlanGate.When.choices, initial=PlanGate.When.FINISH)


class SignForm(forms.Form):
    note = forms.CharField(label=_("Note"), max_length=200, required=False)


class CardFilter(forms.Form):
    """The filter bar of the list. Open cards unless a state is chosen."""

    state = forms.ChoiceField(
        label=_("State"),
        required=False,
        choices=[("", _("Open")), *((s.value, w) for s, w in CARD_WORDS.items()), ("all", _("All"))],
    )
    number = forms.CharField(label=_("Number"), required=False, max_length=12)
    mechanic = forms.TypedChoiceField(label=_("Mechanic"), required=False, coerce=int, empty_value=None)
    late = forms.BooleanField(label=_("Late"), required=False)
    order = forms.ChoiceField(
        label=_("Order"), required=False, choices=[("", _("Promised date")), ("newest", _("Newest first"))]
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = [("", _("anyone")), *((p.pk, p.name) for p in queries.mechanics())]
        self.fields["mechanic"].choices = people  # type: ignore[attr-defined]

    def filters(self) -> dict[str, Any]:
        """As `queries.cards` takes them."""
        data = self.cleaned_data if self.is_valid() else {}
        state = data.get("state") or ""
        found: dict[str, Any] = {} if state else {"open": True}
        if state and state != "all":
            found["state"] = state
        found |= {k: data[k] for k in ("number",) if data.get(k)}
        found |= {"mechanic_id": data["mechanic"]} if data.get("mechanic") else {}
        return found | ({"late": True} if data.get("late") else {})
