"""What is typed about invoices and payments. How a value is read; whether it may be is for the actions."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.cards.models import Unbilled
from jobs.estimates.forms import PriceLineForm, WholeForm
from shop.kernel import clock
from shop.ui.formats import day
from shop.ui.formats import money as shown
from shop.ui.forms import DateInput, DecimalField

from . import queries
from .models import Invoice, InvoiceLine, Payment
from .terms import early_discount

GRACE = timedelta(days=31)  # a payment may be recorded some days after it came
FILTERS = (
    ("", _("All")),
    ("draft", _("Drafts")),
    ("open", _("To be paid")),
    ("overdue", _("Overdue")),
    ("settled", _("Settled")),
)


class InvoiceFilter(forms.Form):
    number = forms.CharField(label=_("Number"), required=False, max_length=20)
    state = forms.ChoiceField(label=_("State"), required=False, choices=FILTERS)
    kind = forms.ChoiceField(label=_("Kind"), required=False, choices=[("", _("All")), *Invoice.Kind.choices])


class InvoiceLineForm(PriceLineForm):
    reason = forms.CharField(
        label=_("Why it is charged without the customer's word"), required=False, max_length=200,
        help_text=_("Only the owner can charge more than was agreed and done, and says why."),
    )  # fmt: skip

    def __init__(self, *args: Any, may_override: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not may_override:
            del self.fields["reason"]


class InvoiceIssueForm(forms.Form):
    supplied_on = forms.DateField(
        label=_("Work done on"),
        widget=DateInput,
        required=False,
        help_text=_("Empty: the day the last stage was finished."),
    )
    override = forms.CharField(
        label=_("Issue although something isn't settled, because"), required=False, max_length=200,
        help_text=_("Needed only where issuing asks for it: clocks run, parts lie loose, a deposit is not paid or not taken off."),
    )  # fmt: skip
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, may_override: bool, deposit: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not may_override:
            del self.fields["override"]
        if deposit:
            del self.fields["supplied_on"]  # nothing is done yet

    def values(self) -> dict[str, Any]:
        return {k: v for k, v in self.cleaned_data.items() if k != "version" and v}


class DepositForm(forms.Form):
    """`agreed`: it is for a card, of whose agreed sum a percentage can be asked for."""

    percent = DecimalField(
        label=_("Of what is agreed"),
        unit="%",
        required=False,
        max_digits=6,
        decimal_places=3,
        min_value=0,
        max_value=100,
    )
    amount = DecimalField(
        label=_("Amount without VAT"), required=False, max_digits=18, decimal_places=4,
        help_text=_("Shared over the VAT rates of what is agreed."),
    )  # fmt: skip
    text = forms.CharField(
        label=_("What stands on it"), required=False, max_length=240, help_text=_("Empty: that it is a deposit.")
    )

    def __init__(self, *args: Any, agreed: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not agreed:
            del self.fields["percent"]
            self.fields["amount"].help_text = _("At the usual VAT rate.")


class ChargeForm(forms.Form):
    kind = forms.ChoiceField(choices=[("labour", ""), ("part", "")], widget=forms.HiddenInput)
    stage_id = forms.IntegerField(widget=forms.HiddenInput, required=False)
    part_id = forms.IntegerField(widget=forms.HiddenInput, required=False)
    estimate_line_id = forms.IntegerField(widget=forms.HiddenInput, required=False)
    reason = forms.CharField(label=_("Charge it all the same, because"), max_length=200)


class CreditForm(forms.Form):
    """How much of which line; all that is left of it to begin with. `left`: quantity and net. Of a deposit that was taken off in
    part the rest goes back whole: it is a sum, and no share of a lump."""

    reason = forms.CharField(label=_("Reason"), max_length=200)

    def __init__(self, *args: Any, lines: Iterable[InvoiceLine], left: dict[int, tuple[Decimal, Decimal]], deposit: bool,
                 **kwargs: Any) -> None:  # fmt: skip
        super().__init__(*args, **kwargs)
        self.lines = [x for x in lines if left[x.pk][0] > 0]
        self.left = {x.pk: left[x.pk][0] for x in self.lines}
        self.rest = {x.pk: left[x.pk][1] for x in self.lines if deposit and left[x.pk][0] < x.quantity}
        for line in self.lines:
            name, begin = f"line_{line.pk}", self.left[line.pk].normalize()
            self.fields[name] = (
                forms.BooleanField(label=line.text, required=False, initial=True)
                if line.pk in self.rest
                else DecimalField(label=line.text, required=False, max_digits=18, decimal_places=6, initial=begin)
            )

    @property
    def asked(self) -> list[tuple[InvoiceLine, Decimal, Decimal | None, Any]]:
        return [(x, self.left[x.pk], self.rest.get(x.pk), self[f"line_{x.pk}"]) for x in self.lines]

    def quantities(self) -> dict[int, Decimal] | None:
        """None when all that is left of every line is asked for."""
        said = {x.pk: self.cleaned_data.get(f"line_{x.pk}") or Decimal(0) for x in self.lines}
        given = {pk: self.left[pk] if pk in self.rest and asked else Decimal(asked) for pk, asked in said.items()}
        if all(given[x.pk] == self.left[x.pk] for x in self.lines):
            return None
        return {pk: quantity for pk, quantity in given.items() if quantity}


class CoreForm(forms.Form):
    """An old part, as it comes in."""

    quantity = DecimalField(label=_("How many"), max_digits=18, decimal_places=6)
    condition = forms.CharField(
        label=_("How it is"), max_length=300, help_text=_("In words: whole, cracked, without its shaft.")
    )
    accepted = forms.TypedChoiceField(
        label=_("What becomes of it"), coerce=lambda x: x == "yes", initial="yes", widget=forms.RadioSelect,
        choices=[("yes", _("Accepted: its deposit isn't charged, or goes back")), ("no", _("Refused: the deposit stays"))],
    )  # fmt: skip
    reason = forms.CharField(label=_("Why it is refused"), required=False, max_length=200)


class HandInForm(CoreForm):
    part_id = forms.TypedChoiceField(label=_("For which part"), coerce=int)
    field_order = ("part_id", "quantity", "condition", "accepted", "reason")

    def __init__(self, *args: Any, parts: Iterable[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["part_id"].choices = list(parts)  # type: ignore[attr-defined]


class KeepForm(forms.Form):
    quantity = DecimalField(label=_("How many"), max_digits=18, decimal_places=6)
    on = forms.DateField(
        label=_("Day of the sale"), widget=DateInput, help_text=_("In the books; from that of the invoice to today.")
    )
    reason = forms.CharField(label=_("Reason"), max_length=200)


class PaymentForm(forms.Form):
    """Money of a customer, shared over their open invoices."""

    amount = DecimalField(label=_("Amount"), max_digits=18, decimal_places=4)
    method = forms.ChoiceField(
        label=_("How it came"), choices=Payment.BY_HAND, widget=forms.RadioSelect, initial="transfer"
    )
    received_on = forms.DateField(label=_("Received on"), widget=DateInput)
    reference = forms.CharField(label=_("Reference"), required=False, max_length=120)

    def __init__(self, *args: Any, invoices: Iterable[Invoice], chosen: int | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["received_on"].initial = clock.today()
        self.invoices = list(invoices)
        for row in self.invoices:
            owed = queries.outstanding(row)
            self.fields[f"invoice_{row.pk}"] = DecimalField(
                label=row.number, required=False, max_digits=18, decimal_places=4,
                initial=money(owed) if row.pk == chosen else None,
            )  # fmt: skip
            if row.pk == chosen:
                self.fields["amount"].initial = money(owed)
            if row.early_until and row.early_until >= clock.today() - GRACE and not queries.with_money(row).credited:
                off = early_discount(row.total_gross + row.rounding, row.early_percent, row.currency)
                self.fields[f"early_{row.pk}"] = forms.BooleanField(
                    label=_("with %(percent)s %% off, %(owed)s, as it came by %(day)s")
                    % {"percent": row.early_percent.normalize(), "owed": shown(owed - off, row.currency),
                       "day": day(row.early_until)},
                    required=False,
                )  # fmt: skip

    @property
    def asked(self) -> list[tuple[Invoice, Decimal, Any, Any]]:
        return [
            (
                row,
                queries.outstanding(row),
                self[f"invoice_{row.pk}"],
                self[f"early_{row.pk}"] if f"early_{row.pk}" in self.fields else None,
            )
            for row in self.invoices
        ]

    def shares(self) -> dict[int, Decimal]:
        given = {row.pk: self.cleaned_data.get(f"invoice_{row.pk}") for row in self.invoices}
        return {pk: amount for pk, amount in given.items() if amount}

    def early(self) -> list[int]:
        return [row.pk for row in self.invoices if self.cleaned_data.get(f"early_{row.pk}")]

    def values(self) -> dict[str, Any]:
        return {k: self.cleaned_data[k] for k in ("amount", "method", "received_on", "reference")}


class AllocateForm(forms.Form):
    """What stands to a customer's credit, set against their open invoices; to begin with the ones due first."""

    def __init__(self, *args: Any, invoices: Iterable[Invoice], free: Decimal, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.invoices = list(invoices)
        for row in self.invoices:
            share = min(free, queries.outstanding(row))
            free -= share
            self.fields[f"invoice_{row.pk}"] = DecimalField(
                label=row.number,
                required=False,
                max_digits=18,
                decimal_places=4,
                initial=money(share) if share else None,
            )

    @property
    def asked(self) -> list[tuple[Invoice, Decimal, Any]]:
        return [(row, queries.outstanding(row), self[f"invoice_{row.pk}"]) for row in self.invoices]

    def shares(self) -> dict[int, Decimal]:
        given = {row.pk: self.cleaned_data.get(f"invoice_{row.pk}") for row in self.invoices}
        return {pk: amount for pk, amount in given.items() if amount}


class RefundForm(forms.Form):
    amount = DecimalField(label=_("Amount"), max_digits=18, decimal_places=4)
    method = forms.ChoiceField(
        label=_("How it goes back"), choices=Payment.BY_HAND, widget=forms.RadioSelect, initial="transfer"
    )
    paid_on = forms.DateField(label=_("Paid back on"), widget=DateInput)
    reference = forms.CharField(label=_("Reference"), required=False, max_length=120)


class ReverseForm(forms.Form):
    reason = forms.CharField(label=_("Reason"), max_length=120, help_text=_("Such as: bounced, or typed twice."))


def money(amount: Decimal) -> str:
    """An amount for a box: at least two decimals, no more than it has."""
    plain = amount.normalize()
    return f"{plain:.{max(2, -int(plain.as_tuple().exponent))}f}"


__all__ = [
    "AllocateForm",
    "ChargeForm",
    "CoreForm",
    "CreditForm",
    "DepositForm",
    "HandInForm",
    "InvoiceFilter",
    "InvoiceIssueForm",
    "InvoiceLineForm",
    "KeepForm",
    "PaymentForm",
    "RefundForm",
    "ReverseForm",
    "WholeForm",
]


class CloseCardForm(forms.Form):
    reason = forms.ChoiceField(label=_("Reason"), choices=Unbilled.choices)
    note = forms.CharField(
        label=_("Note"), max_length=200, required=False, help_text=_("What it was for; asked for with another reason.")
    )
