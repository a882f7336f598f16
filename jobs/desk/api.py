"""cards/ with the verbs that look at every room. What was made of the resource below is registered here, by the topmost."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from jobs.cards import api as cards
from jobs.cards import queries
from jobs.cards.models import Unbilled
from jobs.draws import actions as draws
from jobs.draws.api.shapes import NeedSupplyOut, OrderedOut
from jobs.draws.picking import picking_list
from jobs.invoices import actions as invoices
from jobs.timebook import api as timebook
from shop.api.fields import Body, Choice, Day, Id, Number, Out, Text
from shop.api.files import downloads
from shop.api.kit import reads, verb
from shop.kernel.errors import NotFound

from . import actions
from .build_record import pdf as record_pdf
from .queries.card import whole
from .sheets import picking_pdf


class PickOut(Out):
    bin_id = Id()
    bin = serializers.CharField()
    lot_id = Id()
    lot = serializers.CharField(help_text="The one that is drawn first: first to expire first, else the oldest.")
    use_by = Day(allow_null=True)
    part_id = Id(source="part.pk")
    part_number = serializers.CharField(source="part.number")
    part_name = serializers.CharField(source="part.name")
    unit = serializers.CharField(source="part.unit")
    quantity = Number()
    stage_id = Id(source="stage.pk")
    trays = serializers.SerializerMethodField(help_text="Numbers of the trays that hold the parts of its stage.")

    def get_trays(self, pick: Any) -> list[str]:
        return [use.called for use in pick.trays]


class PickingListOut(Out):
    card_id = Id(source="card.pk")
    card_number = serializers.CharField(source="card.number")
    picks = PickOut(many=True, help_text="In the order of the bins along the walk.")
    lacking = NeedSupplyOut(many=True, help_text="What the shelf doesn't give.")
    waiting = NeedSupplyOut(many=True, help_text="What isn't fetched before the customer's go-ahead.")


class CloseIn(Body):
    reason = Choice(choices=Unbilled.choices)
    note = Text(max_length=200, required=False, help_text="Asked for with another reason.")


class Cards(timebook.Cards):
    """Job cards."""

    @verb("cards.finish", path="hand-over")
    def hand_over(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Refused while a clock runs, something drawn is neither fitted nor returned, or a gate is unsigned."""
        return queries.card(actions.hand_over(pk, by=request.user).pk)

    @verb("invoices.override", path="close-without-invoice", body=CloseIn)
    def close_without_invoice(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """It is handed over and will not be billed: what it cost leaves work in progress. A later invoice takes an owner's word."""
        return queries.card(invoices.close_without_invoice(pk, by=request.user, **body).pk)

    @verb("cards.edit", path="cancel", body=cards.Reason)
    def cancel(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Refused while a clock runs or something drawn is still in hand."""
        return queries.card(actions.cancel_card(pk, by=request.user, **body).pk)

    @verb("draws.order", path="order-missing", out=OrderedOut)
    def order_missing(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Order all that the card lacks, onto the draft orders of who sells it; on arrival it is kept for the card first."""
        return draws.order_missing(pk, by=request.user)

    @reads("draws.read", path="picking-list", out=PickingListOut)
    def picking_list(self, request: Any, pk: int) -> Any:
        """What to fetch for the card: which lot from which bin, in the order of the walk."""
        found = queries.card(pk)
        return None if found is None else picking_list(found)

    @downloads("draws.read", path="picking-list-pdf")
    def picking_list_pdf(self, request: Any, pk: int) -> tuple[bytes, str]:
        """The same as PDF, with boxes to tick."""
        found = queries.card(pk)
        if found is None:
            raise NotFound("There is no such job card.")
        return picking_pdf(found), f"picking-list-{found.number}.pdf"

    @downloads("cards.read", path="build-record")
    def build_record(self, request: Any, pk: int) -> tuple[bytes, str]:
        """How the machine was built, as PDF: stages and gates with who signed them, lots fitted. A draft until finished."""
        found = whole(pk)
        if found is None:
            raise NotFound("There is no such job card.")
        return record_pdf(found), f"build-record-{found.whole.card.number}.pdf"


def register(router: Any) -> None:
    router.register("cards", Cards, basename="cards")
