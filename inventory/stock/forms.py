"""What is filled in at the shelf. How a value is typed and read; whether it may be is for the actions."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from inventory.parts import queries as catalogue
from inventory.parts.codes import part_codes
from inventory.parts.forms import typed_quantity
from inventory.parts.models import Part
from shop.business.queries import profile, sites
from shop.kernel import clock, gs1
from shop.kernel.errors import BadInput
from shop.kernel.units import unit
from shop.people.models import Person
from shop.ui.forms import DateInput, DayField, DecimalField, DecimalInput, ScanInput, WholeInput

from . import counts, queries
from .models import Balance, Bin, Movement

QUANTITY: dict[str, Any] = {"max_digits": 18, "decimal_places": 6}


def _line(label: Any, length: int, *, required: bool = False, hint: Any = "") -> forms.CharField:
    widget = forms.TextInput({"autocomplete": "off"})
    return forms.CharField(label=label, max_length=length, required=required, help_text=hint, widget=widget)


class PartCode(forms.CharField):
    """A part by its number or barcode, scanned or typed; also out of a GS1 code, whose batch and expiry `elements` keeps."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", ScanInput())
        super().__init__(max_length=400, **kwargs)
        self.elements: gs1.Elements | None = None

    def clean(self, value: Any) -> Part | None:
        text = super().clean(value)
        if not text:
            return None
        self.elements = None
        if gs1.looks_like_gs1(text):
            try:
                self.elements = gs1.parse(text, clock.today())
            except BadInput as error:
                raise ValidationError(error.message) from error
        wanted, _batch = part_codes(text, clock.today())
        found = next(filter(None, map(catalogue.by_code, wanted)), None)
        if found is None:
            raise ValidationError(_("There is no part with this number or barcode. Look it up under Parts."))
        return found


class BinCode(forms.CharField):
    """A bin by its code, scanned or typed."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", ScanInput())
        super().__init__(max_length=40, **kwargs)

    def clean(self, value: Any) -> Bin | None:
        text = super().clean(value)
        if not text:
            return None
        found = queries.bins_with_code(text)
        if not found:
            raise ValidationError(_("There is no bin with this code. Read the label, or look under Bins."))
        if len(found) > 1:
            names = " / ".join(f"{b.site.code}/{b.code}" for b in found)
            raise ValidationError(_("This code is at several sites. Write one of: %(names)s"), params={"names": names})
        return found[0]


class ReceiveForm(forms.Form):
    part = PartCode(label=_("Part"), help_text=_("Scan it, or type the number."))
    bin = BinCode(label=_("Into bin"), help_text=_("Scan it, or type the code."))
    quantity = _line(
        _("Quantity"),
        60,
        required=True,
        hint=_("In the part's unit, or in its packages, such as “3 tubes”."),
    )
    unit_cost = DecimalField(
        label=_("Cost per unit"),
        max_digits=18,
        decimal_places=6,
        min_value=0,
        help_text=_("Before tax. 0 for what was free."),
    )
    batch = _line(_("Supplier's batch"), 40)
    expires_on = forms.DateField(
        label=_("Use until"),
        required=False,
        widget=DateInput,
        help_text=_("Empty: by the part's shelf life, if it has one."),
    )
    serial_no = _line(_("Serial number"), 60, hint=_("Only for a single piece."))
    source = _line(_("From"), 120, hint=_("Supplier and delivery note."))
    accept_expired = _line(
        _("Why an expired batch is taken in"), 200, hint=_("An owner only, and only into a quarantine bin.")
    )

    def clean_quantity(self) -> Any:
        part = self.cleaned_data.get("part")
        return typed_quantity(self.cleaned_data["quantity"], part) if part else self.cleaned_data["quantity"]

    def values(self) -> dict[str, Any]:
        """As `actions.receive` takes them. What a GS1 code said fills boxes left empty."""
        given = dict(self.cleaned_data)
        field = self.fields["part"]
        read = field.elements if isinstance(field, PartCode) else None
        if read is not None:
            given["batch"] = given["batch"] or read.batch or ""
            given["expires_on"] = given["expires_on"] or read.expires_on
            given["serial_no"] = given["serial_no"] or read.serial or ""
        return given | {"part_id": given.pop("part").pk, "bin_id": given.pop("bin").pk}


class MoveForm(forms.Form):
    to_bin = BinCode(label=_("Into bin"), help_text=_("Scan it, or type the code."))
    quantity = DecimalField(label=_("Quantity"), **QUANTITY)
    reason = _line(_("Why"), 200)

    def __init__(self, *args: Any, unit: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["quantity"].unit = unit  # type: ignore[attr-defined]


class ScrapForm(forms.Form):
    quantity = DecimalField(label=_("Quantity"), **QUANTITY)
    reason = _line(_("Why"), 200, required=True)

    def __init__(self, *args: Any, unit: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["quantity"].unit = unit  # type: ignore[attr-defined]


class OpenForm(forms.Form):
    quantity = DecimalField(
        label=_("How much of it"), **QUANTITY, required=False, help_text=_("One tube of six. Empty: all of the lot.")
    )

    def __init__(self, *args: Any, unit: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["quantity"].unit = unit  # type: ignore[attr-defined]


class CostForm(forms.Form):
    new_unit_cost = DecimalField(
        label=_("Cost per unit"), max_digits=18, decimal_places=6, min_value=0,
        help_text=_("By the invoice, before tax, with its share of freight and duty."),
    )  # fmt: skip
    reason = _line(_("Why"), 200, required=True, hint=_("The invoice that says so."))

    def __init__(self, *args: Any, currency: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["new_unit_cost"].unit = currency  # type: ignore[attr-defined]


class DayFilter(forms.Form):
    day = DayField(label=_("At the end of"), required=False)


class BreakForm(forms.Form):
    quantity = DecimalField(label=_("How many kits"), **QUANTITY, initial=1)
    to_bin = BinCode(label=_("Parts into bin"), required=False, help_text=_("Empty: this bin."))

    def values(self) -> dict[str, Any]:
        bin_ = self.cleaned_data["to_bin"]
        return {"quantity": self.cleaned_data["quantity"], "to_bin_id": bin_.pk if bin_ else None}


class CountForm(forms.Form):
    """One box for each lot in the bin, empty: whoever counts doesn't see what the ledger expects."""

    reason = _line(_("Why it differs"), 200, hint=_("Only when something differs from the ledger."))

    def __init__(self, *args: Any, lying: list[Balance], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lying = lying
        for row in lying:
            batch = _("batch %(batch)s") % {"batch": row.lot.batch} if row.lot.batch else ""
            self.fields[f"lot_{row.lot_id}"] = DecimalField(
                label=f"{row.part.number} {row.part.name}", help_text=" · ".join(filter(None, [row.lot.number, batch])),
                unit=unit(row.part.unit).symbol, min_value=0, **QUANTITY,
            )  # fmt: skip

    @property
    def lines(self) -> list[forms.BoundField]:
        return [self[f"lot_{row.lot_id}"] for row in self.lying]

    def counted(self) -> dict[int, Any]:
        return {row.lot_id: self.cleaned_data[f"lot_{row.lot_id}"] for row in self.lying}


class BinForm(forms.Form):
    """A new bin; `BinEditForm` for one that is there."""

    site = forms.ChoiceField(label=_("Site"), choices=lambda: [(s.pk, s.name) for s in sites()])
    code = _line(_("Code"), 24, required=True, hint=_("On its label, and its barcode."))
    rack = _line(_("Rack"), 24)
    name = _line(_("Name"), 80)
    kind = forms.ChoiceField(
        label=_("Kind"), choices=Bin.Kind.choices, help_text=_("What lies in quarantine can't be drawn.")
    )
    keeper_id = forms.TypedChoiceField(
        label=_("Whose box"), required=False, coerce=int, empty_value=None,
        choices=lambda: [("", "–"), *Person.objects.filter(is_active=True).values_list("pk", "name")],
    )  # fmt: skip

    def values(self) -> dict[str, Any]:
        given = {k: v for k, v in self.cleaned_data.items() if k != "version"}
        if "site" in given:
            given["site_id"] = int(given.pop("site"))
        return given


class BinEditForm(BinForm):
    site = None  # type: ignore[assignment]  # a bin stays where it stands
    version = forms.IntegerField(widget=forms.HiddenInput)


class StockFilter(forms.Form):
    text = forms.CharField(label=_("Part number, name or barcode"), max_length=80, required=False, widget=ScanInput())


class BinFilter(forms.Form):
    code = forms.CharField(label=_("Code"), max_length=24, required=False, widget=ScanInput())
    kind = forms.ChoiceField(label=_("Kind"), required=False, choices=[("", _("All")), *Bin.Kind.choices])
    archived = forms.BooleanField(label=_("No longer used"), required=False)


class MovementFilter(forms.Form):
    part = PartCode(label=_("Part"), required=False)
    kind = forms.ChoiceField(label=_("What"), required=False, choices=[("", _("All")), *Movement.Kind.choices])


class CountStartForm(forms.Form):
    """A new count list. Whether it may be is for the actions; here only codes become bins."""

    WHAT = (("bins", _("These bins, or all bins of a rack")), ("due", _("What is due, by value and movement")))
    site = forms.TypedChoiceField(label=_("Site"), coerce=int, choices=lambda: [(s.pk, s.name) for s in sites()])
    what = forms.ChoiceField(label=_("What to count"), choices=WHAT)
    codes = forms.CharField(
        label=_("Bins"), required=False, max_length=4000, help_text=_("Scan or type their codes, with spaces between."),
        widget=forms.TextInput({"autocomplete": "off", "class": "code"}),
    )  # fmt: skip
    rack = _line(_("Or the whole rack"), 24)
    most = forms.IntegerField(
        label=_("Due: at most so many places"), initial=20, min_value=1, max_value=500, widget=WholeInput
    )
    limit_value = DecimalField(
        label=_("Look twice from a difference worth"), max_digits=11, decimal_places=2, min_value=0, initial=25
    )
    limit_percent = DecimalField(
        label=_("or from this share"), unit="%", max_digits=6, decimal_places=2, min_value=0, initial=10
    )
    note = _line(_("Note"), 200)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["limit_value"].unit = profile().currency  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("what") != "bins" or "site" not in given:
            return given
        bins = counts.bins(given["site"])
        by_code = {b.code.lower(): b.pk for b in bins}
        codes = given.get("codes", "").replace(",", " ").split()
        if unknown := [c for c in codes if c.rpartition("/")[2].lower() not in by_code]:
            self.add_error("codes", _("There is no bin %(code)s at this site.") % {"code": ", ".join(unknown[:4])})
        ids = [by_code[c.rpartition("/")[2].lower()] for c in codes if c not in unknown]
        if rack := given.get("rack"):
            in_rack = [b.pk for b in counts.bins(given["site"], rack=rack)]
            if not in_rack:
                self.add_error("rack", _("No bin of this site stands in that rack."))
            ids += in_rack
        if not codes and not rack:
            self.add_error("codes", _("Name at least one bin, or a rack."))
        given["bin_ids"] = list(dict.fromkeys(ids))
        return given

    def values(self) -> dict[str, Any]:
        """As the action of what was chosen takes them."""
        given = self.cleaned_data
        chosen = "most" if given["what"] == "due" else "bin_ids"
        same = {name: given[name] for name in ("limit_value", "limit_percent", "note")}
        return {"site_id": given["site"], chosen: given[chosen], **same}


class TallyForm(forms.Form):
    """How much of a lot lies there. Empty: nobody is led by a figure."""

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sign = "" if part.unit == "C62" else unit(part.unit).symbol
        self.fields["counted"] = DecimalField(
            label=_("How much lies here") if sign else _("How many lie here"), unit=sign, min_value=0, **QUANTITY,
            widget=DecimalInput({"autofocus": True}),
        )  # fmt: skip


class ReasonForm(forms.Form):
    reason = _line(_("Why it differs"), 200, required=True)
