"""Form renderer, widgets and fields of the staff pages.

`FORM_RENDERER = "shop.ui.forms.Renderer"` makes `{{ form }}` and `{{ field.as_field_group }}` use our
templates. Rules about values belong to the rooms' actions; here is only how a value is typed and read.
"""

import re
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms.renderers import TemplatesSetting
from django.utils.translation import gettext_lazy as _

NUMBER = re.compile(r"^[+-]?\d*(?:[.,]\d*)?$")
AMBIGUOUS = re.compile(r"^[+-]?[1-9]\d{0,2},\d{3}$")


class Renderer(TemplatesSetting):
    form_template_name = "ui/form.html"
    formset_template_name = "ui/formset.html"
    field_template_name = "ui/field.html"


def read_number(text: str) -> str:
    """Typed number to the form Decimal() reads: spaces dropped, decimal comma or point.

    With both signs the last one is the decimal sign ("1.234,50", "1,234.50"). "1,234" could be either and
    raises ValidationError; anything else that is no number is returned as it is for the field to refuse.
    """
    text = re.sub(r"[\s\u00a0\u202f'’]", "", text.strip()).replace("−", "-")
    if "," in text and "." in text:
        last = max(text.rfind(","), text.rfind("."))
        whole, rest = text[:last], text[last + 1 :]
        if re.fullmatch(r"[+-]?\d{1,3}(?:[.,]\d{3})+", whole) and rest.isdigit():
            return re.sub(r"[.,]", "", whole) + "." + rest
        return text
    if AMBIGUOUS.match(text):
        raise ValidationError(
            _("“%(typed)s” can be read two ways. Write %(big)s or %(small)s."),
            code="ambiguous",
            params={"typed": text, "big": text.replace(",", ""), "small": text.replace(",", ".")},
        )
    return text.replace(",", ".") if NUMBER.match(text) else text


class DecimalInput(forms.TextInput):
    """Text input with the decimal keyboard; a spinner would change a figure by an unlucky scroll."""

    def __init__(self, attrs: dict | None = None, unit: str = ""):
        super().__init__({"inputmode": "decimal", "autocomplete": "off", "class": "num", **(attrs or {})})
        self.unit = unit


class DecimalField(forms.DecimalField):
    """Decimal typed with comma or point. `unit` is shown behind the box ("ml", "€")."""

    widget = DecimalInput

    def __init__(self, *, unit: str = "", **kwargs: Any):
        super().__init__(**kwargs)
        self.unit = unit

    def widget_attrs(self, widget: forms.Widget) -> dict:
        return {}

    def prepare_value(self, value: Any) -> Any:
        return f"{value:f}" if isinstance(value, Decimal) else value

    def to_python(self, value: Any) -> Decimal | None:
        if isinstance(value, str):
            value = read_number(value)
        return super().to_python(value)


class DateInput(forms.DateInput):
    input_type = "date"

    def __init__(self, attrs: dict | None = None):
        super().__init__(attrs, format="%Y-%m-%d")


class DateTimeInput(forms.DateTimeInput):
    input_type = "datetime-local"

    def __init__(self, attrs: dict | None = None):
        super().__init__(attrs, format="%Y-%m-%dT%H:%M")


class ScanInput(forms.TextInput):
    """Box for a scanned or typed code. `pattern`: JavaScript regular expression of what it takes."""

    def __init__(self, attrs: dict | None = None, pattern: str = ""):
        super().__init__(
            {"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false", "class": "code"}
            | {"data-scan-into": pattern}
            | (attrs or {})
        )
