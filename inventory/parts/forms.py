"""What is filled in about a part. How a value is typed and read; whether it may be is for the actions."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.kernel import clock, units
from shop.kernel.errors import BadInput
from shop.ui.formats import decimal_sign
from shop.ui.forms import DateInput, DecimalField, ScanInput

from . import packing, pricing, queries
from .models import ChargeKind, Package, Part, PartKind

# What a shop counts and measures in, the usual ones first
_UNITS = [units.unit(code) for code in ("C62", "PR", "SET", "MLT", "LTR", "GRM", "KGM", "MMT", "MTR", "CMK", "MTK")]
_REST = [
    u
    for u in units.UNITS.values()
    if u.dimension in {k.dimension for k in _UNITS} and u not in _UNITS and not u.retired
]
UNITS = [(u.code, f"{u.name} ({u.symbol})") for u in [*_UNITS, *_REST]]


def _line(label: Any, length: int, *, required: bool = False, hint: Any = "", **attrs: str) -> forms.CharField:
    widget = forms.TextInput({"autocomplete": "off"} | attrs)
    return forms.CharField(label=label, max_length=length, required=required, help_text=hint, widget=widget)


class PartForm(forms.Form):
    """A new part; `PartEditForm` for one that is there."""

    number = _line(_("Number"), 40, required=True, hint=_("On the shelf and on the label."), spellcheck="false")
    name = _line(_("Name"), 160, required=True)
    kind = forms.ChoiceField(label=_("Kind"), choices=PartKind.choices)
    unit = forms.ChoiceField(label=_("Counted in"), choices=UNITS, initial="C62")
    single_use = forms.BooleanField(
        label=_("Single use"),
        required=False,
        help_text=_("Once fitted it does not come back, not even from a trial fit."),
    )
    sale_price = DecimalField(
        label=_("Sale price"), max_digits=14, decimal_places=6, min_value=0, required=False,
        help_text=_("Per unit, before tax."),
    )  # fmt: skip
    tax_code = _line(_("VAT rate"), 20, hint=_("Empty: the shop's usual rate."))
    barcode = forms.CharField(
        label=_("Barcode"), max_length=48, required=False, widget=ScanInput(),
        help_text=_("More of them, and who uses which, on the part's page."),
    )  # fmt: skip
    shelf_life_days = forms.IntegerField(
        label=_("Keeps closed, in days"), min_value=1, required=False, help_text=_("From receipt. Empty: it keeps.")
    )
    open_life_days = forms.IntegerField(label=_("Keeps opened, in days"), min_value=1, required=False)
    hazards = _line(
        _("Hazard codes"),
        400,
        hint=_("H and P codes of the safety data sheet, section 2, such as H225 P210 P305+P351+P338."),
        spellcheck="false",
    )
    storage_note = _line(_("How it is kept"), 200)
    reorder_point = DecimalField(
        label=_("Order when there are"), max_digits=18, decimal_places=6, min_value=0, required=False,
        help_text=_("Or fewer. Empty: no reminder."),
    )  # fmt: skip
    note = forms.CharField(label=_("Note"), max_length=4000, required=False, widget=forms.Textarea({"rows": 3}))

    def clean_hazards(self) -> list[str]:
        typed = re.sub(r"\s*\+\s*", "+", self.cleaned_data["hazards"])
        return [code for code in re.split(r"[\s,;]+", typed) if code]

    def values(self) -> dict[str, Any]:
        """The fields as the actions take them."""
        found = {k: v for k, v in self.cleaned_data.items() if k not in ("version", "barcode")}
        if code := self.cleaned_data.get("barcode"):
            found["barcodes"] = [code]
        return found


class PartEditForm(PartForm):
    barcode = None  # type: ignore[assignment]  # on a page of their own
    version = forms.IntegerField(widget=forms.HiddenInput)


class PartField(forms.CharField):
    """Another part, by its number or barcode, scanned or typed."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", ScanInput())
        super().__init__(max_length=48, **kwargs)

    def clean(self, value: Any) -> Part | None:
        text = super().clean(value)
        if not text:
            return None
        found = queries.by_code(text)
        if found is None:
            raise forms.ValidationError(_("There is no part with this number or barcode. Look it up under Parts."))
        return found


class BarcodeForm(forms.Form):
    code = forms.CharField(label=_("Barcode"), max_length=48, widget=ScanInput())
    used_by = _line(_("Who uses it"), 80, hint=_("A supplier, say. Empty: everybody."))
    plain = forms.BooleanField(
        label=_("It is no GTIN"), required=False,
        help_text=_("A number of somebody's own that has 12 to 14 digits: no check digit is looked for."),
    )  # fmt: skip


class ReplaceForm(forms.Form):
    new_part = PartField(label=_("The new part"), help_text=_("Number or barcode. It must be in the catalogue."))
    either_way = forms.BooleanField(
        label=_("Either way"), required=False, help_text=_("The old one does for the new one as well.")
    )
    since = forms.DateField(label=_("Since"), required=False, widget=DateInput, help_text=_("Empty: today."))
    note = _line(_("What to mind"), 200)


class AlternativeForm(forms.Form):
    other_part = PartField(label=_("The other part"), help_text=_("Number or barcode."))
    note = _line(_("What to mind"), 200, hint=_("Such as: 0.2 mm thicker."))


class PartFilter(forms.Form):
    text = forms.CharField(label=_("Number, name or barcode"), max_length=80, required=False, widget=ScanInput())
    kind = forms.ChoiceField(label=_("Kind"), required=False, choices=[("", _("All")), *PartKind.choices])
    archived = forms.BooleanField(label=_("Archived"), required=False)


class PriceRuleForm(forms.Form):
    name = _line(_("Name"), 80, required=True, hint=_("Stands where a price comes from, such as “Gaskets, trade”."))
    kind = forms.ChoiceField(label=_("Kind of part"), required=False, choices=[("", _("Any")), *PartKind.choices])
    customer_class = _line(_("Class of customer"), 40, hint=_("As on the customer. Empty: everybody."))
    cost_from = DecimalField(label=_("Cost from"), max_digits=16, decimal_places=6, min_value=0, initial=Decimal(0))
    cost_below = DecimalField(
        label=_("Cost below"),
        max_digits=16,
        decimal_places=6,
        min_value=0,
        required=False,
        help_text=_("Empty: no end."),
    )
    markup_percent = DecimalField(label=_("Markup"), unit="%", max_digits=8, decimal_places=3, min_value=0)
    step = forms.TypedChoiceField(
        label=_("Rounded to"), coerce=Decimal, choices=[(str(s), str(s)) for s in pricing.STEPS], initial="0.01",
        help_text=_("The price is a multiple of it, never below cost by rounding."),
    )  # fmt: skip
    valid_from = forms.DateField(label=_("From"), widget=DateInput, initial=clock.today)
    valid_to = forms.DateField(
        label=_("To"), required=False, widget=DateInput, help_text=_("The last day. Empty: no end.")
    )

    def values(self) -> dict[str, Any]:
        return {k: v for k, v in self.cleaned_data.items() if k != "version"}


class PriceRuleEditForm(PriceRuleForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


class PackageForm(forms.Form):
    kind = forms.ChoiceField(label=_("Package"), choices=packing.CHOICES, initial="XBX")
    content = DecimalField(label=_("Holds"), max_digits=18, decimal_places=6)
    unit = forms.ChoiceField(label=_("Of"))
    gtin = forms.CharField(
        label=_("Code on the package"), required=False, max_length=20, widget=ScanInput(),
        help_text=_("Its own GTIN, if it has one: scanned at a delivery it counts the whole package."),
    )  # fmt: skip

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        dimension = units.unit(part.unit).dimension
        same = [(u.code, u.symbol) for u in units.units_of(dimension) if not u.retired]
        self.fields["unit"].choices = same  # type: ignore[attr-defined]
        self.fields["unit"].initial = part.unit


class ChargeEditForm(forms.Form):
    """Wording and amount of a charge that goes with a part; `ChargeForm` for a new one."""

    text = _line(_("What stands on documents"), 120, required=True)
    amount = DecimalField(
        label=_("Amount"), max_digits=16, decimal_places=6, help_text=_("For one unit of the part, before tax.")
    )
    tax_code = _line(_("VAT rate"), 20, hint=_("Its code. Empty: the part's."))
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def values(self) -> dict[str, Any]:
        return {k: v for k, v in self.cleaned_data.items() if k != "version"}


class ChargeForm(ChargeEditForm):
    kind = forms.ChoiceField(label=_("Kind"), choices=ChargeKind.choices)
    field_order = ("kind", "text", "amount", "tax_code")


class KitPartForm(forms.Form):
    part = PartField(label=_("Part"), help_text=_("Number or barcode."))
    quantity = DecimalField(
        label=_("How much of it"), max_digits=18, decimal_places=6, help_text=_("In its unit, in one kit.")
    )
    share = DecimalField(
        label=_("Share of the cost"), max_digits=9, decimal_places=3, min_value=0, required=False,
        help_text=_("On any scale, for all parts or none. Empty: by sale price."),
    )  # fmt: skip


class CountedIn(forms.ChoiceField):
    """What a quantity of a part is typed in: its unit, or one of its packages."""

    def __init__(self, part: Part, rows: list[Package], **kwargs: Any) -> None:
        self.part, self.rows = part, {str(row.pk): row for row in rows}
        unit = units.unit(part.unit)
        choices = [("", unit.name if part.unit == "C62" else unit.symbol), *((str(r.pk), str(r)) for r in rows)]
        super().__init__(label=_("Counted in"), required=False, choices=choices, **kwargs)

    def in_units(self, quantity: Decimal, choice: str) -> Decimal:
        """The quantity in the part's unit, exactly. Raises ValidationError when it doesn't divide."""
        if choice not in self.rows:
            return quantity
        try:
            return packing.unpacked(quantity, self.rows[choice].pack)
        except BadInput as error:
            raise forms.ValidationError(error.message) from error


class PackedForm(forms.Form):
    """A form with a `quantity` of one part; when the part comes in packages it may be typed in them, and arrives in
    the part's unit."""

    def put_packages(self, part: Part) -> None:
        rows = list(queries.packages(part_id=part.pk))
        if rows:
            place = list(self.fields).index("quantity") + 1
            named = list(self.fields.items())
            self.fields = dict([*named[:place], ("counted_in", CountedIn(part, rows)), *named[place:]])

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        choice, field = given.pop("counted_in", ""), self.fields.get("counted_in")
        if choice and isinstance(field, CountedIn) and given.get("quantity") is not None:
            try:
                given["quantity"] = field.in_units(given["quantity"], choice)
            except forms.ValidationError as error:
                self.add_error("quantity", error)
        return given


def typed_quantity(text: str, part: Part) -> Decimal:
    """A quantity as it was typed, also in one of the part's packages: "3 tubes". Raises ValidationError."""
    comma = decimal_sign() == ","
    packs = queries.packs(part)
    try:
        try:
            return packing.typed(text, part.unit, packs, decimal_comma=comma)
        except BadInput as error:
            if error.code != "other-decimal-sign":
                raise
            return packing.typed(text, part.unit, packs, decimal_comma=not comma)
    except BadInput as error:
        raise forms.ValidationError(error.message) from error
