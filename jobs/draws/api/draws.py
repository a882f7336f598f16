"""/api/v1/draws/ and /traces/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Day, Id, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, verb

from .. import actions, queries, trace
from ..models import Draw
from .needs import ByCard


class DrawIn(Body):
    stage_id = Id()
    part_id = Id()
    quantity = Number(help_text="In the part's unit.")
    bin_id = Id(required=False, help_text="Only from this bin.")
    lot_id = Id(required=False, help_text="Only from this lot.")
    override = Text(max_length=200, required=False, help_text="An owner's reason to use an expired lot.")


class DrawOut(Out):
    id = Id()
    card_id = Id()
    stage_id = Id()
    part_id = Id()
    movement_id = Id()
    lot = serializers.CharField(source="movement.lot.number")
    bin = serializers.CharField(source="movement.bin.code")
    quantity = Number()
    returned = Number()
    fitted = Number()
    spent = Number(help_text="Fitted for trial or spoiled: used up, not in the machine.")
    cost = Money(source="value", places=6, help_text="Only for those who may see costs.")
    at = Moment()

    def to_representation(self, instance: Draw) -> dict[str, Any]:
        shown = super().to_representation(instance)
        if "costs.read" not in self.context["rights"]:
            shown["cost"] = None
        return shown


class DrawnOut(Out):
    """What one posting took: a row for each lot."""

    stage_id = Id(source="stage.pk")
    part_id = Id(source="part.pk")
    quantity = Number()
    draws = DrawOut(source="rows", many=True)


class HowMany(Body):
    quantity = Number()
    note = Text(max_length=200, required=False)


class HowManyBack(HowMany):
    bin_id = Id(required=False, help_text="Where it is put back; left out: where it came from.")
    opened_on = Day(required=False, allow_null=True, help_text="The day the container was opened that this is left of.")


class WhyHowMany(Body):
    quantity = Number()
    note = Text(max_length=200)


class Draws(Resource):
    kind = "draw"
    out = DrawOut

    @lists("draws.read", query=ByCard, orders={"oldest": ("id",), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.draws(query["card_id"])

    @reads("draws.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return Draw.objects.select_related("part", "stage", "movement__lot", "movement__bin").filter(pk=pk).first()

    @posts("draws.draw", body=DrawIn, out=DrawnOut)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """Draw a part for a stage."""
        return actions.draw(by=request.user, **body)

    @verb("draws.draw", path="return", body=HowManyBack)
    def put_back(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Return unused."""
        return actions.put_back(pk, by=request.user, **body)

    @verb("draws.draw", path="fit", body=HowMany)
    def fit(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Fitted for good."""
        return actions.fit(pk, by=request.user, **body)

    @verb("draws.draw", path="trial-fit", body=HowMany)
    def trial_fit(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Fitted to be taken apart again; a single-use part is spent."""
        return actions.trial_fit(pk, by=request.user, **body)

    @verb("draws.draw", path="spoil", body=WhyHowMany)
    def spoil(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Spoiled before it was fitted."""
        return actions.spoil(pk, by=request.user, **body)

    @verb("draws.draw", path="take-off", body=HowMany)
    def take_off(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """What was fitted comes off again."""
        return actions.take_off(pk, by=request.user, **body)

    @verb("draws.draw", path="not-fitted", body=WhyHowMany)
    def correct_fit(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """It was marked as fitted by mistake."""
        return actions.correct_fit(pk, by=request.user, **body)


class TraceOut(Out):
    id = Id(help_text="Of the draw.")
    lot_id = Id(source="movement.lot_id")
    lot_number = serializers.CharField(source="movement.lot.number")
    batch = serializers.CharField(source="movement.lot.batch", help_text="The supplier's.")
    part_id = Id()
    part_number = serializers.CharField(source="part.number")
    quantity = Number(source="kept", help_text="Drawn and not brought back, in the part's unit.")
    fitted = Number()
    card_id = Id()
    card_number = serializers.CharField(source="card.number")
    machine_id = Id(source="card.machine_id")
    machine = serializers.CharField(source="card.machine.title")
    serial_no = serializers.CharField(source="card.machine.serial_no")
    customer_id = Id(source="card.customer_id")
    customer = serializers.CharField(source="card.customer.name")
    at = Moment()


class TraceQuery(Query):
    lot_id = serializers.IntegerField(
        required=False, min_value=1, max_value=2**63 - 1, help_text="With what was opened from it and its whole batch."
    )
    machine_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class Traces(Resource):
    kind = "trace"
    out = TraceOut

    @lists("customers.read", query=TraceQuery, orders={"oldest": ("id",), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        """From a lot to every machine it went into, and from a machine to every lot."""
        return trace.traces(**query)
