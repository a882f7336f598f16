"""Estimate against actual of a card."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Id, Money, Number, Out
from shop.api.kit import Resource, reads

from .. import outcome


class OutcomeRowOut(Out):
    stage_id = Id(source="stage.pk", default=None, allow_null=True, help_text="Null: belongs to no stage.")
    name = serializers.CharField()
    quoted_hours = Number(places=6)
    done_hours = Number(places=4)
    hours_more = Number(places=6, help_text="Done less quoted.")
    quoted = Money(help_text="Agreed by the customer, before tax.")
    billed = Money(help_text="Of issued invoices less credit notes, before tax.")
    difference = Money(help_text="Billed less quoted.")
    likely = Number(
        places=2, source="learned.likely", default=None, allow_null=True, help_text="Hours the next job is expected to take."
    )  # fmt: skip


class OutcomeOut(Out):
    card_id = Id(source="card.pk")
    currency = serializers.CharField()
    rows = OutcomeRowOut(many=True)
    sum = OutcomeRowOut()


class CardOutcomes(Resource):
    kind = "card-outcome"
    out = OutcomeOut

    @reads("invoices.read")
    def retrieve(self, request: Any, pk: int) -> outcome.Outcome | None:
        """Stage by stage: hours and net as agreed, hours booked, net billed, and the difference. `pk` is the card's id."""
        return outcome.of_card(pk)
