"""Rates and site of the invented shop: 23 % and 13.5 % VAT are illustrative."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from shop.business import actions, queries
from shop.business.models import LabourRate, Site, TaxRate
from shop.people.models import Person

START = date(2024, 1, 1)


def tax_rates(by: Person | None = None) -> dict[str, TaxRate]:
    """The rates "S23" (default), "S13", "E", "AE", "O", made once."""
    if not TaxRate.objects.exists():
        add = actions.add_tax_rate
        add(code="S23", name="Standard", percent=Decimal("23"), valid_from=START, is_default=True, by=by)
        add(code="S13", name="Reduced", percent=Decimal("13.5"), valid_from=START, by=by)
        for category, reason in (("E", "Exempt"), ("AE", "Reverse charge"), ("O", "Outside the scope of VAT")):
            add(
                code=category,
                name=reason,
                percent=Decimal(0),
                category=category,
                reason=reason,
                valid_from=START,
                by=by,
            )
    return {rate.code: rate for rate in queries.tax_rates()}


def labour_rates(by: Person | None = None) -> list[LabourRate]:
    """68.00 for any hour, 84.00 for measuring, made once."""
    if not LabourRate.objects.exists():
        actions.add_labour_rate(per_hour=Decimal("68"), valid_from=START, by=by)
        actions.add_labour_rate(per_hour=Decimal("84"), valid_from=START, stage_kind="measure", by=by)
    return list(LabourRate.objects.all())


def site() -> Site:
    return queries.default_site()
