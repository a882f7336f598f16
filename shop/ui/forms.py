"""Form renderer, widgets and fields of the staff pages.

`FORM_RENDERER = "shop.ui.forms.Renderer"` makes `{{ form }}` and `{{ field.as_field_group }}` use our
templates. Rules about values belong to the rooms' actions; here is only how a value is typed and read.
"""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import DecimalValidator, MaxValueValidator, MinValueValidator
from django.forms.renderers import TemplatesSetting
from django.utils.translation import gettext_lazy as _

from shop.kernel import clock
from shop.kernel.decimals import parse_decimal
from shop.kernel.errors import BadInput
from shop.ui import formats


class Renderer(TemplatesSetting):
    form_template_name = "ui/form.html"
    formset_template_name = "ui/formset.html"
    field_template_name = "ui/field.html"


def read_number(text: str) -> Decimal:
    """What somebody typed, with the decimal sign of the active language, or the other one where it can mean
    nothing else ("0,5"): the number keys of a phone may offer only one of them.

    Raises ValidationError with the kernel's words.
    """
    comma = formats.decimal_sign() == ","
    try:
        return parse_decimal(text, decimal_comma=comma, field="number")
    except BadInput as error:
        if error.code == "other-decimal-sign":
            return parse_decimal(text, decimal_comma=not comma, field="number")
        raise ValidationError(error.fields["number"]) from error


def _in_our_words(check: Any) -> None:
    """A limit of a number, refused in the words of the pages instead of Django's."""
    if isinstance(check, MinValueValidator):
        check.message = _("Give %(limit_value)s or more.")
    elif isinstance(check, MaxValueValidator):
        check.message = _("Give %(limit_value)s or less.")
    elif isinstance(check, DecimalValidator):
        words: Any = {
            "invalid": _("This is not a number."),
            "max_digits": _("This number is too long: %(max)s digits at most."),
            "max_decimal_places": _("This is too fine: %(max)s decimals at most."),
            "max_whole_digits": _("This number is too big: %(max)s digits before the decimal sign at most."),
        }
        check.messages = words


class DecimalInput(forms.TextInput):
    """Text input with the decimal keyboard; a spinner would change a figure by an unlucky scroll."""

    def __init__(self, attrs: dict | None = None, unit: str = ""):
        super().__init__({"inputmode": "decimal", "autocomplete": "off", "class": "num", **(attrs or {})})
        self.unit = unit


class WholeInput(forms.TextInput):
    """Text input with the digit keyboard for forms.IntegerField, for the same reason without a spinner."""

    def __init__(self, attrs: dict | None = None):
        super().__init__({"inputmode": "numeric", "autocomplete": "off", "class": "num", **(attrs or {})})


class DecimalField(forms.DecimalField):
    """Decimal typed with comma or point. `unit` is shown behind the box ("ml", "€")."""

    widget = DecimalInput

    def __init__(self, *, unit: str = "", **kwargs: Any):
        super().__init__(**kwargs)
        self.unit = unit
        for check in self.validators:
            _in_our_words(check)

    def widget_attrs(self, widget: forms.Widget) -> dict:
        return {}

    def prepare_value(self, value: Any) -> Any:
        return f"{value:f}" if isinstance(value, Decimal) else value

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        if isinstance(value, str):
            value = read_number(value) if value.strip() else None
        return super().to_python(value)


class DateInput(forms.DateInput):
    input_type = "date"

    def __init__(self, attrs: dict | None = None):
        super().__init__(attrs, format="%Y-%m-%d")


class DayField(forms.DateField):
    """A day of a filter, within the years that can be meant; the words are those of the API."""

    widget = DateInput

    def to_python(self, value: Any) -> date | None:
        day = super().to_python(value)
        if day is not None and not clock.can_be_meant(day):
            raise ValidationError(_("This date is out of range; use a year from 1900 to 2200."), code="out-of-range")
        return day


class DateTimeInput(forms.DateTimeInput):
    input_type = "datetime-local"

    def __init__(self, attrs: dict | None = None):
        super().__init__(attrs, format="%Y-%m-%dT%H:%M")


class PhotoInput(forms.ClearableFileInput):
    """File box that opens the camera on a phone."""

    def __init__(self, attrs: dict | None = None):
        super().__init__({"accept": "image/*", "capture": "environment", **(attrs or {})})


class ScanInput(forms.TextInput):
    """Box for a scanned or typed code, with the camera's button. `pattern`: JavaScript regular expression of what it takes."""

    template_name = "ui/widgets/scan.html"

    def __init__(self, attrs: dict | None = None, pattern: str = ""):
        super().__init__(
            {"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false", "class": "code"}
            | {"data-scan-into": pattern}
            | (attrs or {})
        )
