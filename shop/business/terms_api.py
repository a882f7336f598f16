"""/api/v1/payment-terms/"""

from __future__ import annotations

from typing import Any

from shop.api.fields import Body, Day, Int, Moment, Money, Number, Out
from shop.api.kit import Resource, edits, reads

from . import actions, queries


def _fee() -> Money:
    return Money(min_value=0, max_value=1000, required=False)


class TermsEdit(Body):
    early_percent = Number(places=3, digits=6, min_value=0, max_value=50, required=False, help_text="0: none.")
    early_days = Int(min_value=0, max_value=365, required=False)
    cash_step = Money(min_value=0, max_value=100, required=False, help_text="Cash is rounded to it; 0: to the cent.")
    remind_days_1 = Int(min_value=0, max_value=365, required=False, help_text="After the due day.")
    remind_days_2 = Int(min_value=1, max_value=365, required=False, help_text="After the first letter.")
    remind_days_3 = Int(min_value=1, max_value=365, required=False, help_text="After the second.")
    remind_fee_1 = _fee()
    remind_fee_2 = _fee()
    remind_fee_3 = _fee()
    remind_pay_days = Int(min_value=1, max_value=365, required=False)
    interest_percent = Number(
        places=3, digits=6, min_value=0, max_value=100, required=False, help_text="A year; 0: none."
    )
    interest_since = Day(
        required=False,
        help_text="From which day the percentage holds; by default today, and the first one ever set for all.",
    )
    interest_from = Int(
        min_value=1, max_value=4, required=False, help_text="The letter that first asks for it; 4: none."
    )
    storage_per_day = Money(min_value=0, max_value=10_000, required=False, help_text="Net; 0: none.")
    storage_free_days = Int(min_value=0, max_value=3650, required=False)


class InterestRateOut(Out):
    percent = Number()
    since = Day(allow_null=True, help_text="None: from the beginning.")
    at = Moment(help_text="When it was set.")


class TermsOut(Out):
    """Every figure is an example until an adviser has confirmed it."""

    early_percent = Number()
    early_days = Int()
    cash_step = Money()
    remind_days_1 = Int()
    remind_days_2 = Int()
    remind_days_3 = Int()
    remind_fee_1 = Money()
    remind_fee_2 = Money()
    remind_fee_3 = Money()
    remind_pay_days = Int()
    interest_percent = Number(help_text="As it was set last; see `interest_rates` for its day.")
    interest_rates = InterestRateOut(
        many=True, help_text="Every percentage set, the newest first. It replaces all before it from its day on."
    )
    interest_from = Int()
    storage_per_day = Money()
    storage_free_days = Int()
    version = Int()


class PaymentTerms(Resource):
    kind = "payment-terms"
    single = True
    out = TermsOut

    @reads("business.read")
    def retrieve(self, request: Any) -> Any:
        return queries.money_terms()

    @edits("business.edit", body=TermsEdit)
    def partial_update(self, request: Any, body: dict[str, Any], expect: int) -> Any:
        return actions.edit_money_terms(expect, by=request.user, **body)
