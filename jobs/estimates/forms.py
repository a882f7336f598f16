"""What is typed about estimates and their lines. How a value is read; whether it may be is for the actions."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.parts import queries as parts
from jobs.cards.models import Stage
from shop.business import queries as business
from shop.kernel import clock
from shop.kernel.units import UNITS
from shop.ui.forms import DateInput, DateTimeInput, DecimalField, ScanInput

from . import queries
from .models import Estimate, EstimateLine, GoAhead, LineKind

# what a line is sold by, the usual ones first
SOLD_BY = ("HUR", "C62", "LS", "SET", "PR", "MLT", "LTR", "GRM", "KGM", "MMT", "MTR", "KMT", "DAY")


def unit_choices(present: str = "") -> list[tuple[str, str]]:
    codes = [*SOLD_BY, *([present] if present and present not in SOLD_BY else [])]
    return [(c, UNITS[c].name if c in UNITS else c) for c in codes]


def tax_choices() -> list[tuple[str, Any]]:
    rates = business.tax_rates(on=clock.today())
    return [("", _("the usual rate")), *((r.code, f"{r.name}, {r.percent.normalize():f} %") for r in rates)]


class EstimateFilter(forms.Form):
    number = forms.CharField(label=_("Number"), required=False, max_length=20)
    state = forms.ChoiceField(
        label=_("State"), required=False, choices=[("", _("All")), *((k, w) for k, (w, _m) in queries.STATES.items())]
    )
    kind = forms.ChoiceField(label=_("Kind"), required=False, choices=[("", _("All")), *Estimate.Kind.choices])


class KindForm(forms.Form):
    kind = forms.ChoiceField(
        label=_("What kind of document"), choices=Estimate.Kind.choices, initial="estimate", widget=forms.RadioSelect,
        help_text=_(
            "An estimate is billed by what was done; a quotation at its price; a notice names what was found later."
        ),
    )  # fmt: skip


class PriceLineForm(forms.Form):
    """A line of an estimate or invoice, as both have it."""

    kind = forms.ChoiceField(label=_("Kind"), choices=LineKind.choices)
    part_number = forms.CharField(
        label=_("Part"), required=False, max_length=48, widget=ScanInput(),
        help_text=_("Number or code. Text, unit, price and tax follow from the catalogue where left empty."),
    )  # fmt: skip
    text = forms.CharField(label=_("What"), required=False, max_length=240)
    detail = forms.CharField(label=_("Detail"), required=False, max_length=4000, widget=forms.Textarea({"rows": 2}))
    quantity = DecimalField(label=_("Quantity"), required=False, max_digits=18, decimal_places=6)
    unit = forms.ChoiceField(label=_("Unit"), required=False)
    unit_price = DecimalField(label=_("Price for one, without tax"), required=False, max_digits=18, decimal_places=6)
    discount_percent = DecimalField(label=_("Discount"), unit="%", required=False, max_digits=6, decimal_places=3)
    discount_reason = forms.CharField(label=_("Reason for the discount"), required=False, max_length=120)
    tax_code = forms.ChoiceField(label=_("VAT rate"), required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, new: bool = False, may_discount: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.new = new
        self.fields["unit"].choices = unit_choices(str(self.initial.get("unit", "")))  # type: ignore[attr-defined]
        if new:
            self.fields["unit"].choices = [("", _("by kind or part")), *unit_choices()]  # type: ignore[attr-defined]
        else:
            del self.fields["part_number"]
            for name in ("text", "quantity", "unit_price"):
                self.fields[name].required = True
        self.fields["tax_code"].choices = tax_choices()  # type: ignore[attr-defined]
        if not may_discount:
            del self.fields["discount_percent"], self.fields["discount_reason"]

    def clean_part_number(self) -> str:
        typed = self.cleaned_data["part_number"].strip()
        if typed:
            found = parts.current(typed)
            if found is None:
                raise forms.ValidationError(_("There is no part “%(code)s” in the catalogue."), params={"code": typed})
            self.cleaned_data["part_id"] = found.pk
        return typed

    def values(self) -> dict[str, Any]:
        """What was filled in, as the actions take it; of a new line only that."""
        found = {k: v for k, v in self.cleaned_data.items() if k not in ("version", "part_number", "optional")}
        if self.new:
            found = {k: v for k, v in found.items() if v not in ("", None)}
            if "part_id" in found:
                found.pop("kind", None)
        else:
            if found.get("discount_percent") is None and "discount_percent" in found:
                found["discount_percent"] = 0
            found = {k: v for k, v in found.items() if v is not None}
            if not found.get("tax_code"):
                found.pop("tax_code", None)
        if "optional" in self.fields:
            found["optional"] = bool(self.cleaned_data["optional"])
        return found


class EstimateLineForm(PriceLineForm):
    stage_id = forms.TypedChoiceField(
        label=_("Stage"), required=False, coerce=int, empty_value=None,
        help_text=_("Hours by what was done are those booked on it. What is left empty follows from the stage."),
    )  # fmt: skip
    pricing = forms.ChoiceField(
        label=_("Billed"), required=False, choices=EstimateLine.Pricing.choices, widget=forms.RadioSelect
    )
    optional = forms.BooleanField(label=_("Optional: not in the total until the customer says yes"), required=False)
    cost = DecimalField(
        label=_("What it costs us"), required=False, max_digits=18, decimal_places=4,
        help_text=_("Of the whole line, such as the supplier's price for work sent out."),
    )  # fmt: skip
    markup = DecimalField(label=_("Markup on that"), unit="%", required=False, max_digits=6, decimal_places=3)

    def __init__(self, *args: Any, firm: bool = False, stages: Iterable[Stage] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        named = [(s.pk, f"{s.position} {s.name}") for s in stages]
        self.fields["stage_id"].choices = [("", _("none")), *named]  # type: ignore[attr-defined]
        self.order_fields(["kind", "part_number", "text", "detail", "stage_id"])
        if self.initial.get("unit_price", 0) is None:  # not known yet: may be left so
            self.fields["unit_price"].required = False
        if firm:  # a firm quotation leaves no choice
            del self.fields["pricing"]

    def values(self) -> dict[str, Any]:
        """Cost and markup of a line that stands only where one of them was changed: they set its price anew. A cost that stayed
        follows the quantity."""
        found = super().values()
        if self.new:
            return found
        changed = set(self.changed_data)
        if "cost" not in changed:
            found.pop("cost", None)
            if "markup" not in changed:
                found.pop("markup", None)
        if "stage_id" in self.data:
            found["stage_id"] = self.cleaned_data["stage_id"]
        else:
            found.pop("stage_id", None)
        return found


class WholeForm(forms.Form):
    """What belongs to a draft as a whole."""

    note = forms.CharField(
        label=_("Text below the totals"), required=False, max_length=4000, widget=forms.Textarea({"rows": 3})
    )
    discount_percent = DecimalField(
        label=_("Discount on all"), unit="%", required=False, max_digits=6, decimal_places=3
    )
    discount_reason = forms.CharField(label=_("Reason for the discount"), required=False, max_length=120)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, may_discount: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not may_discount:
            del self.fields["discount_percent"], self.fields["discount_reason"]

    def values(self) -> dict[str, Any]:
        found = {k: v for k, v in self.cleaned_data.items() if k != "version"}
        if "discount_percent" in found and found["discount_percent"] is None:
            found["discount_percent"] = 0
        return found


class IssueForm(forms.Form):
    valid_until = forms.DateField(label=_("Valid until"), widget=DateInput)
    keep_prices = forms.BooleanField(
        label=_("Keep the prices of this draft, although they are others today"), required=False
    )
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)


class ReasonForm(forms.Form):
    reason = forms.CharField(label=_("Reason"), max_length=200)


class GoAheadForm(forms.Form):
    """The customer's word, line by line; charges go with their part."""

    how = forms.ChoiceField(
        label=_("How it was said"),
        choices=[c for c in GoAhead.How.choices if c[0] not in ("link", "limit")],
        widget=forms.RadioSelect,
    )
    said_by = forms.CharField(label=_("Who said it"), max_length=120)
    said_at = forms.DateTimeField(label=_("When"), widget=DateTimeInput)
    note = forms.CharField(label=_("Note"), required=False, max_length=300)

    WORDS = (("open", _("open")), ("yes", _("yes")), ("no", _("no")))

    def __init__(self, *args: Any, lines: Iterable[EstimateLine], standing: dict[int, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.standing = standing
        self.fields["said_at"].initial = timezone.localtime(clock.now())
        every = list(lines)
        self.lines = [x for x in every if x.accompanies_id is None]
        self.charges = {x.pk: [c for c in every if c.accompanies_id == x.pk] for x in self.lines}
        for line in self.lines:
            self.fields[f"line_{line.pk}"] = forms.ChoiceField(
                label=line.text, choices=self.WORDS, initial=standing.get(line.pk, "open"), required=False,
                widget=forms.RadioSelect,
            )  # fmt: skip

    @property
    def asked(self) -> list[tuple[EstimateLine, Any, list[EstimateLine]]]:
        return [(line, self[f"line_{line.pk}"], self.charges[line.pk]) for line in self.lines]

    def answers(self, every: str = "") -> dict[int, bool]:
        """Yes or no by line: for all of them with `every`, else where it differs from what stands."""
        if every == "yes":
            return {line.pk: True for line in self.lines}
        given = {line.pk: self.cleaned_data.get(f"line_{line.pk}") or "open" for line in self.lines}
        return {
            pk: word == "yes" for pk, word in given.items() if word != "open" and word != self.standing.get(pk, "open")
        }
