"""What is filled in about ordering. How a value is typed and read; whether it may be is for the actions."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.buying.queries import suppliers
from inventory.parts.models import PartKind
from inventory.stock.forms import PartCode
from shop.business.queries import profile
from shop.ui.forms import DateInput, DecimalField, WholeInput

QUANTITY: dict[str, Any] = {"max_digits": 18, "decimal_places": 6}
STATES = (("open", _("to be decided")), ("put-off", _("put off")), ("ordered", _("ordered")))
YES = (("", _("as the wider rule says")), ("no", _("on the shelf")), ("yes", _("only when a card needs it")))


class ProposalFilter(forms.Form):
    state = forms.ChoiceField(label=_("Show"), required=False, choices=STATES)
    kind = forms.ChoiceField(label=_("Kind"), required=False, choices=[("", _("all")), *PartKind.choices])


class OrderForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)
    quantity = DecimalField(label=_("How many"), **QUANTITY)
    supplier: forms.ModelChoiceField = forms.ModelChoiceField(
        None, label=_("Of whom"), required=False, empty_label=_("not said")
    )

    def __init__(self, *args: Any, unit: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["quantity"].unit = unit  # type: ignore[attr-defined]
        self.fields["supplier"].queryset = suppliers()  # type: ignore[attr-defined]


class PutOffForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)
    note = forms.CharField(label=_("Why not now"), max_length=200, widget=forms.TextInput({"autocomplete": "off"}))
    until = forms.DateField(
        label=_("Ask again from"), required=False, widget=DateInput(), help_text=_("Left empty: in a month.")
    )


class RuleForm(forms.Form):
    service_percent = DecimalField(
        label=_("Nothing missing in so many of 100 waits"), required=False, max_digits=5, decimal_places=2, unit="%",
        help_text=_("A wait is the lead time and the time until the next look."),
    )  # fmt: skip
    lead_days = forms.IntegerField(label=_("Lead time, days"), required=False, widget=WholeInput())
    review_days = forms.IntegerField(label=_("Days between two looks"), required=False, widget=WholeInput())
    order_cost = DecimalField(label=_("What one order line costs"), required=False, **QUANTITY)
    holding_percent = DecimalField(
        label=_("Keeping it, of its price a year"), required=False, max_digits=5, decimal_places=2, unit="%"
    )
    budget = DecimalField(
        label=_("Money for one set of proposals"), required=False, help_text=_("Left empty: no limit."), **QUANTITY
    )
    cards_only = forms.ChoiceField(label=_("Kept"), required=False, choices=YES)

    def __init__(self, *args: Any, whole_shop: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not whole_shop:
            del self.fields["budget"]
        for name in ("order_cost", "budget"):
            if name in self.fields:
                self.fields[name].unit = profile().currency  # type: ignore[attr-defined]

    def values(self) -> dict[str, Any]:
        given = {k: v for k, v in self.cleaned_data.items() if k not in ("cards_only", "version", "scope", "part")}
        return given | {"for_cards_only": {"yes": True, "no": False}.get(self.cleaned_data["cards_only"])}


class RuleEditForm(RuleForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


class RuleAddForm(RuleForm):
    scope = forms.ChoiceField(
        label=_("For"), choices=[("", _("the whole shop")), *PartKind.choices, ("part", _("one part"))], required=False
    )
    part = PartCode(label=_("Part number"), required=False, help_text=_("When the rule is for one part."))
    field_order = ("scope", "part")

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if found.get("scope") == "part" and not found.get("part") and "part" not in self.errors:
            self.add_error("part", _("Which part?"))
        return found
