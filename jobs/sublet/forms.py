"""What is typed about work sent out. Whether it may be recorded is for the actions."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.buying.forms.shared import SupplierChoice, line
from shop.business.queries import profile
from shop.kernel import clock
from shop.kernel.rounding import minor_units
from shop.ui.forms import DateInput, DecimalField


class SubletBillForm(forms.Form):
    supplier = SupplierChoice(label=_("Outside firm"))
    number = line(_("Invoice number"), 60, required=True, hint=_("The firm's own."), spellcheck="false")
    dated_on = forms.DateField(label=_("Date on it"), widget=DateInput)
    note = line(_("Note"), 200)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        currency = profile().currency
        amount: dict[str, Any] = {"max_digits": 16, "decimal_places": minor_units(currency), "unit": currency}
        self.fields["net"] = DecimalField(label=_("Before tax"), **amount)
        self.fields["tax"] = DecimalField(label=_("Tax"), required=False, help_text=_("As it stands there."), **amount)
        self.fields["dated_on"].initial = clock.today
        self.order_fields(["supplier", "number", "dated_on", "net", "tax", "note"])

    def values(self) -> dict[str, Any]:
        """As `actions.record_bill` takes them."""
        given = self.cleaned_data
        same = {name: given[name] for name in ("number", "dated_on", "net", "note")}
        return same | {"supplier_id": given["supplier"].pk, "tax": given["tax"] or Decimal(0)}
