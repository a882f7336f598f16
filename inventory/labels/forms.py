"""What is filled in to print labels. How a value is typed and read; whether it may be is for the actions."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.ui.forms import DecimalField, WholeInput

from . import queries


class LabelsForm(forms.Form):
    paper = forms.TypedChoiceField(label=_("Paper"), coerce=int)
    first = forms.IntegerField(
        label=_("Begin with label"), min_value=1, max_value=1000, initial=1, widget=WholeInput,
        help_text=_("1 is the top left one, then along the row. Use up a sheet that was begun. A roll: 1."),
    )  # fmt: skip
    codes = forms.CharField(
        label=_("Bins, parts and lots"), max_length=60_000,
        help_text=_("Scan or type one a line. Several of one: GKT-041 × 5."),
        widget=forms.Textarea({"rows": 8, "class": "code", "spellcheck": "false", "autocapitalize": "characters"}),
    )  # fmt: skip
    outline = forms.BooleanField(
        label=_("Thin line around each label"), required=False, help_text=_("For plain paper.")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = queries.papers()
        self.fields["paper"].choices = [  # type: ignore[attr-defined]
            (p.pk, f"{p.name} ({p.label_size}{', ' + str(p.paper.places) if not p.is_roll else ''})") for p in rows
        ]


def _mm(label: Any, *, required: bool = True, **more: Any) -> DecimalField:
    return DecimalField(label=label, unit="mm", max_digits=7, decimal_places=2, min_value=0, required=required, **more)


class PaperForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=60, help_text=_("As it is called in the drawer."))
    is_roll = forms.BooleanField(
        label=_("A roll for a label printer"), required=False,
        help_text=_("Then width and height are those of one label; rows, columns, margins and gaps don't count."),
    )  # fmt: skip
    width = _mm(_("Width"))
    height = _mm(_("Height"))
    cols = forms.IntegerField(label=_("Columns"), min_value=1, max_value=20, initial=1, widget=WholeInput)
    rows = forms.IntegerField(label=_("Rows"), min_value=1, max_value=50, initial=1, widget=WholeInput)
    left = _mm(_("Margin left"), initial=0)
    top = _mm(_("Margin at the top"), initial=0)
    right = _mm(_("Margin right"), required=False, help_text=_("Empty: as left."))
    bottom = _mm(_("Margin at the bottom"), required=False, help_text=_("Empty: as at the top."))
    gap_x = _mm(_("Gap between columns"), initial=0)
    gap_y = _mm(_("Gap between rows"), initial=0)

    def values(self) -> dict[str, Any]:
        return {k: v for k, v in self.cleaned_data.items() if k != "version"}


class PaperEditForm(PaperForm):
    version = forms.IntegerField(widget=forms.HiddenInput)
