"""What is filled in about work plans. How a value is typed and read; whether it may be is for the actions."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.ui.forms import DecimalField, ScanInput, WholeInput

from .drafts import CAUTION, MOST_STAGES
from .models import PlanGate, PlanStage, StageKind

_SEVERAL = {"rows": 3}


def _line(label: Any, length: int, *, required: bool = False, hint: Any = "") -> forms.CharField:
    widget = forms.TextInput({"autocomplete": "off"})
    return forms.CharField(label=label, max_length=length, required=required, help_text=hint, widget=widget)


def _lines(label: Any, *, hint: Any = "", initial: str = "") -> forms.CharField:
    widget = forms.Textarea(_SEVERAL)
    return forms.CharField(label=label, max_length=4000, required=False, help_text=hint, initial=initial, widget=widget)


class _Form(forms.Form):
    def values(self) -> dict[str, Any]:
        """The fields as the actions take them."""
        return {k: v for k, v in self.cleaned_data.items() if k != "version"}


class PlanForm(_Form):
    """A new plan; `PlanEditForm` for one that is there."""

    code = _line(_("Code"), 24, required=True, hint=_("Short, in capitals, such as B2-TOP."))
    name = _line(_("Name"), 120, required=True)
    machine_kind = _line(_("For machines of the kind"), 40, hint=_("Empty: any."))
    maker = _line(_("Maker"), 80)
    model = _line(_("Model"), 80)
    description = _lines(_("Description"))
    cautions = _lines(_("Cautions"), initial=CAUTION, hint=_("Shown with every stage and on the card's papers."))


class PlanEditForm(PlanForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


class CopyForm(forms.Form):
    code = _line(_("Code of the new plan"), 24, required=True)
    name = _line(_("Name of the new plan"), 120, required=True)


class StageForm(_Form):
    """A new stage of a plan; `StageEditForm` for one that is there. `others` are the plan's other stages, `places` how many places there are."""

    name = _line(_("Stage"), 120, required=True)
    kind = forms.ChoiceField(label=_("Kind"), choices=StageKind.choices)
    standard_hours = DecimalField(
        label=_("Standard hours"), unit="h", max_digits=8, decimal_places=2, min_value=0, required=False
    )
    position = forms.IntegerField(
        label=_("Place in the plan"), min_value=1, max_value=MOST_STAGES, required=False, widget=WholeInput
    )
    after_ids = forms.TypedMultipleChoiceField(
        label=_("Comes after"), coerce=int, required=False, widget=forms.CheckboxSelectMultiple
    )
    done_by = _line(_("Who may do it"), 40, hint=_("A labour class. Empty: any mechanic."))
    chargeable = forms.BooleanField(label=_("Is charged to the customer"), required=False, initial=True)
    needs_go_ahead = forms.ChoiceField(
        label=_("Waits for the customer's go-ahead"), required=False,
        choices=[("", _("As usual for its kind")), ("True", _("Yes")), ("False", _("No"))],
    )  # fmt: skip
    instructions = _lines(_("What to do"))
    cautions = _lines(
        _("Cautions of this stage"), hint=_("What can hurt here: lifting, fuel, pressure, heat, chemicals.")
    )

    def __init__(self, *args: Any, others: Iterable[PlanStage] = (), places: int = 1, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(s.pk, str(s)) for s in others]
        self.fields["after_ids"].choices = choices  # type: ignore[attr-defined]
        if not choices:
            self.fields["after_ids"].widget = forms.MultipleHiddenInput()
        self.fields["position"].help_text = _("From 1 to %(n)s. Empty: as it is, or at the end.") % {"n": places}

    def values(self) -> dict[str, Any]:
        given = super().values()
        told = given["needs_go_ahead"]
        given["needs_go_ahead"] = None if told == "" else told == "True"
        if given["standard_hours"] is None:
            given["standard_hours"] = 0
        return given


class StageEditForm(StageForm):
    needs_go_ahead = forms.ChoiceField(
        label=_("Waits for the customer's go-ahead"), choices=[("True", _("Yes")), ("False", _("No"))]
    )
    version = forms.IntegerField(widget=forms.HiddenInput)


class GateForm(_Form):
    text = _line(
        _("What must be true"), 200, required=True, hint=_("Such as “Ports covered” or “New circlips fitted”.")
    )
    when = forms.ChoiceField(label=_("Signed"), choices=PlanGate.When.choices, initial="finish")


class GateEditForm(GateForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


class PartForm(_Form):
    part = forms.CharField(
        label=_("Part"), max_length=48, help_text=_("Its number, typed or scanned."), widget=ScanInput
    )
    quantity = DecimalField(label=_("Quantity"), max_digits=18, decimal_places=6, help_text=_("In the part's unit."))


class QuantityForm(_Form):
    quantity = DecimalField(label=_("Quantity"), max_digits=18, decimal_places=6)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, unit: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["quantity"].unit = unit  # type: ignore[attr-defined]


class PlanFilter(forms.Form):
    text = forms.CharField(label=_("Code, name, machine"), required=False, max_length=80)
    archived = forms.BooleanField(label=_("Archived"), required=False)
