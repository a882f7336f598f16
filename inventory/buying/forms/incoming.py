"""A supplier's electronic invoice: its file, whose it is, and what its lines are for."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.kernel.decimals import plain
from shop.kernel.units import unit
from shop.ui.forms import DecimalField

from ..incoming import Look, Recognised
from ..recognising import ALLOWANCE, DUTY, FREIGHT, GOODS, NOTHING, PRICE, RETURNED, Assigned
from .shared import SupplierChoice, line


class FileForm(forms.Form):
    file = forms.FileField(
        label=_("File"), allow_empty_file=True, help_text=_("Electronic invoice as XML, or the PDF it came in.")
    )


class WhoseForm(forms.Form):
    supplier = SupplierChoice(label=_("It is of"))


class TakeForm(forms.Form):
    """Two boxes for each line: what it is for, and how much of the receipt's line; on a credit note a third, whether that is no
    longer charged or its price corrected. A line that is proposed to charge several receipts has them for each."""

    note = line(_("Note"), 200)

    def __init__(self, *args: Any, look: Look, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.look = look
        came = [(f"goods-{r.pk}", _of(r)) for r in look.candidates]
        self.rows: list[tuple[Recognised, list[tuple[str, ...]]]] = []
        for x in look.lines:
            names: list[tuple[str, ...]] = []
            for n, given in enumerate(x.proposed or [None]):
                what, amount = f"what_{x.stated.position}_{n}", f"quantity_{x.stated.position}_{n}"
                self.fields[what] = forms.ChoiceField(
                    label=_("What line %(line)s is for") % {"line": x.stated.position}, choices=_choices(came),
                    initial=_initial(given),
                )  # fmt: skip
                self.fields[amount] = DecimalField(
                    label=_("Quantity of line %(line)s") % {"line": x.stated.position}, max_digits=18, decimal_places=6,
                    min_value=0, required=False, initial=Decimal(plain(given.quantity)) if given and given.quantity else None,
                    unit=unit(x.part.unit).symbol if x.part else "",
                )  # fmt: skip
                if not look.stated.is_credit:
                    names.append((what, amount))
                    continue
                effect = f"effect_{x.stated.position}_{n}"
                self.fields[effect] = forms.ChoiceField(
                    label=_("Line %(line)s credits") % {"line": x.stated.position}, choices=_EFFECTS, required=False,
                    initial=(given and given.effect) or "",
                )  # fmt: skip
                names.append((what, amount, effect))
            self.rows.append((x, names))

    def boxes(self) -> list[tuple[Recognised, list[list[forms.BoundField]]]]:
        return [(x, [[self[n] for n in its] for its in names]) for x, names in self.rows]

    def values(self) -> dict[str, Any]:
        """As `actions.take_einvoice` takes them."""
        given = self.cleaned_data
        lines = []
        for x, names in self.rows:
            for what, amount, *effect in names:
                kind, _dash, pk = given[what].partition("-")
                goods = kind == GOODS
                lines.append(
                    Assigned(
                        x.stated.position, kind, int(pk) if goods else None, given[amount] if goods else None,
                        (goods and effect and given[effect[0]]) or None,
                    )
                )  # fmt: skip
        return {"lines": lines, "note": given["note"]}


_EFFECTS = [
    ("", _("What it seems to be")), (RETURNED, _("What went back, never came or is charged anew")),
    (PRICE, _("Some of the price of what is kept")),
]  # fmt: skip


def _of(row: Any) -> str:
    return f"{row.part.number}, {plain(row.quantity)} {unit(row.part.unit).symbol}, {row.receipt}"


def _initial(given: Assigned | None) -> str:
    if given is None:
        return ""
    return f"{GOODS}-{given.receipt_line_id}" if given.what == GOODS else given.what


def _choices(came: list[tuple[str, str]]) -> list[Any]:
    other = [
        (FREIGHT, _("Freight")), (DUTY, _("Duty")), (ALLOWANCE, _("Something taken off")), (NOTHING, _("Nothing, only words")),
    ]  # fmt: skip
    return [("", _("Choose")), (_("What came"), came), (_("No goods"), other)]
