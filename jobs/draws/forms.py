"""What is typed when parts are asked for, drawn, fitted and brought back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.parts.forms import PackedForm
from inventory.parts.models import Part
from inventory.stock.models import Balance
from shop.kernel import clock
from shop.ui.formats import day, unit_sign
from shop.ui.forms import DecimalField

from .templatetags.draws import many, share_words

WIDE = {"max_digits": 18, "decimal_places": 6}


def _quantity(part: Part, **more: Any) -> DecimalField:
    sign = "" if part.unit == "C62" else unit_sign(part.unit)
    return DecimalField(label=_("How much") if sign else _("How many"), unit=sign, **WIDE, **more)


def _note(length: int = 200, **more: Any) -> forms.CharField:
    return forms.CharField(label=_("Note"), max_length=length, required=False, **more)


class DrawForm(PackedForm):
    """Drawing one part for one stage. `source` "lot:bin" names a place; empty: what expires first, else the oldest."""

    source = forms.ChoiceField(label=_("From"), required=False)
    override = forms.CharField(
        label=_("Why may the expired lot be used?"), max_length=200, required=False,
        help_text=_("Only the owner can say so; it is kept with the movement."),
    )  # fmt: skip

    def __init__(self, *args: Any, part: Part, places: Sequence[Balance] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields = {"quantity": _quantity(part), **self.fields}  # asked first
        self.put_packages(part)
        choices = [(f"{p.lot_id}:{p.bin_id}", self._called(p, part)) for p in places]
        first = _("what is to be used first")
        self.fields["source"].choices = [("", first), *choices]  # type: ignore[attr-defined]
        if len(choices) < 2:
            del self.fields["source"]

    @staticmethod
    def _called(place: Balance, part: Part) -> str:
        until = place.lot.last_day
        gone = until is not None and until < clock.today()
        last = (_("expired %s") if gone else _("use by %s")) % day(until) if until else ""
        said = [place.bin.code, place.lot.number, many(place.on_hand, part), last]
        return " · ".join(str(s) for s in said if s)

    def values(self) -> dict[str, Any]:
        lot, _sep, place = self.cleaned_data.get("source", "").partition(":")
        return {
            "quantity": self.cleaned_data["quantity"],
            "lot_id": int(lot) if lot else None,
            "bin_id": int(place) if place else None,
            "override": self.cleaned_data.get("override", ""),
        }


class AmountForm(forms.Form):
    """So many of what was drawn, and a word on it."""

    note = _note(help_text=_("Needed when something was spoiled or noted by mistake."))

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields = {"quantity": _quantity(part), **self.fields}


class NeedForm(PackedForm):
    note = _note()

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields = {"quantity": _quantity(part), **self.fields}
        self.put_packages(part)


class TrayForm(forms.Form):
    number = forms.CharField(label=_("Tray"), max_length=20, help_text=_("The number on it."))
    shared = forms.BooleanField(
        label=_("They share the tray"), required=False, help_text=_("The parts for both stages are in it.")
    )


class MoveForm(forms.Form):
    """From which other need, what of it, and how much. `source`: "need:" is the shelf, "need:line" an order line."""

    source = forms.ChoiceField(label=_("What another card has"))
    reason = _note(help_text=_("Both cards keep it."))

    def __init__(self, *args: Any, part: Part, rivals: Sequence[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields = {"source": self.fields["source"], "quantity": _quantity(part), "reason": self.fields["reason"]}
        choices = []
        for rival in rivals:
            card = rival.need.stage.card.number
            if rival.supply.kept:
                said = _("%(many)s kept on the shelf") % {"many": many(rival.supply.kept, part)}
                choices.append((f"{rival.need.pk}:", f"{card}: {said}"))
            for share in rival.supply.coming:
                if share.line.order:
                    choices.append((f"{rival.need.pk}:{share.line.pk}", f"{card}: {share_words(share, part)}"))
        self.fields["source"].choices = [("", _("Choose")), *choices]  # type: ignore[attr-defined]
        self.any = bool(choices)

    def values(self) -> dict[str, Any]:
        need, _sep, line = self.cleaned_data["source"].partition(":")
        return {
            "from_need_id": int(need),
            "order_line_id": int(line) if line else None,
            "quantity": self.cleaned_data["quantity"],
        }


class EditNeedForm(NeedForm):
    version = forms.IntegerField(widget=forms.HiddenInput)
