"""/api/v1/gates/ and notes/; and the part of cards/ and stages/ that this room knows: rooms above extend `Cards` and `Stages`
by their own verbs, and the topmost registers them."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from jobs.plans.models import PlanGate, StageKind
from shop.api.fields import Body, Choice, Day, Flag, Id, Int, Moment, Number, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb
from shop.kernel.errors import NotFound

from . import actions, queries, wording
from .models import Hold, Unbilled
from .state import CardState, StageState


class CardIn(Body):
    machine_id = Id()
    complaint = Text(max_length=4000, lines=True, help_text="In the customer's words.")
    site_id = Id(required=False, allow_null=True, help_text="Left out: the first site.")
    promised_on = Day(required=False, allow_null=True)
    came_with = Text(max_length=2000, lines=True, required=False)
    plan_ids = serializers.ListField(child=Id(), required=False, max_length=10, help_text="Work plans to copy.")
    arrived = Flag(default=True, help_text="false: booked in for later.")


class CardEdit(Body):
    complaint = Text(max_length=4000, lines=True)
    site_id = Id()
    promised_on = Day(allow_null=True)
    came_with = Text(max_length=2000, lines=True, required=False)


class Reason(Body):
    reason = Text(max_length=200)


class HoldIn(Body):
    reason = Choice(choices=Hold.Reason.choices)
    note = Text(max_length=300, required=False, help_text="Needed with the reason “other”.")


class CardOut(Out):
    id = Id()
    number = serializers.CharField()
    machine_id = Id()
    machine = serializers.CharField()
    customer_id = Id()
    customer = serializers.CharField()
    site_id = Id()
    complaint = serializers.CharField()
    came_with = serializers.CharField()
    promised_on = Day(allow_null=True)
    plans_used = serializers.CharField()
    opened_at = Moment()
    opened_by = serializers.CharField()
    arrived_at = Moment(allow_null=True)
    finished_at = Moment(allow_null=True)
    handed_over_at = Moment(allow_null=True)
    unbilled_at = Moment(allow_null=True, help_text="Closed without an invoice.")
    unbilled_reason = Choice(choices=Unbilled.choices, allow_blank=True, help_text="Empty: it wasn't.")
    unbilled_note = serializers.CharField()
    cancelled_at = Moment(allow_null=True)
    cancel_reason = serializers.CharField()
    state = serializers.ChoiceField(choices=[s.value for s in CardState])
    waits_for = serializers.CharField(help_text="In words; empty when work can go on.")
    waits_on = serializers.CharField(help_text="Whose move: customer, office, mechanic, stores, outside, shop.")
    late_days = Int()
    version = Int()

    def to_representation(self, row: Any) -> Any:
        standing = queries.standing(row)
        row.state, row.late_days = standing.state.value, standing.late_days
        row.waits_for, row.waits_on = standing.waits.what, standing.waits.who
        return super().to_representation(row)


class CardQuery(Query):
    state = serializers.ChoiceField(choices=[s.value for s in CardState], required=False)
    open = serializers.BooleanField(
        required=False, allow_null=True, default=None, help_text="Neither handed over nor cancelled."
    )
    customer_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    machine_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    number = serializers.CharField(max_length=12, required=False, help_text="The start of the number.")
    late = serializers.BooleanField(required=False, allow_null=True, default=None)
    mechanic_id = serializers.IntegerField(
        min_value=1, max_value=2**63 - 1, required=False, help_text="Has a stage left for this person."
    )


class HistoryOut(Out):
    id = Id()
    at = Moment()
    by = serializers.CharField(allow_null=True, help_text="null: the system, or the customer by link.")
    verb = serializers.CharField()
    what = serializers.SerializerMethodField(help_text="In words.")
    why = serializers.SerializerMethodField(help_text="The reason given, if any.")

    def get_what(self, row: Any) -> str:
        return wording.sentence(row.verb, row.detail, row.currency)

    def get_why(self, row: Any) -> str:
        return wording.why(row.detail)


class Cards(Resource):
    kind = "card"
    out = CardOut

    @lists(
        "cards.read",
        query=CardQuery,
        orders={"newest": ("-id",), "promised": ("due", "id"), "number": ("number",), "-number": ("-number",)},
    )
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.cards(**query)

    @reads("cards.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.card(pk)

    @posts("cards.edit", body=CardIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return queries.card(actions.open_card(**body, by=request.user).pk)

    @edits("cards.edit", body=CardEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return queries.card(actions.edit_card(pk, expect, by=request.user, **body).pk)

    @verb("cards.edit", path="arrive")
    def arrive(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return queries.card(actions.machine_arrived(pk, by=request.user).pk)

    @verb("cards.finish", path="finish")
    def finish(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return queries.card(actions.finish_card(pk, by=request.user).pk)

    @verb("cards.finish", path="reopen", body=Reason)
    def reopen(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return queries.card(actions.reopen_card(pk, by=request.user, **body).pk)

    @verb("cards.hold", path="resume")
    def resume(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return queries.card(actions.resume_card(pk, by=request.user).card_id)

    @lists("cards.read", path="history", detail=True, out=HistoryOut, orders={"newest": ("-id",), "oldest": ("id",)})
    def history(self, request: Any, query: dict[str, Any], pk: int) -> Any:
        if queries.card(int(pk)) is None:
            raise NotFound("There is no such job card.")
        return queries.history(int(pk), request.user)


class StageIn(Body):
    card_id = Id()
    name = Text(max_length=120)
    kind = Choice(choices=StageKind.choices)
    standard_hours = Number(places=2, digits=8, required=False)
    chargeable = Flag(default=True)
    needs_go_ahead = Flag(
        required=False, allow_null=True, help_text="Left out: stripping, cleaning and measuring don't."
    )
    done_by = Text(max_length=40, required=False)
    instructions = Text(max_length=10_000, lines=True, required=False)
    cautions = Text(max_length=10_000, lines=True, required=False)
    mechanic_id = Id(required=False, allow_null=True)
    after_ids = serializers.ListField(child=Id(), required=False, max_length=100)
    position = Int(min_value=1, max_value=1000, required=False, allow_null=True, help_text="Left out: last.")


class StageEdit(Body):
    name = Text(max_length=120)
    kind = Choice(choices=StageKind.choices)
    standard_hours = Number(places=2, digits=8)
    chargeable = Flag()
    needs_go_ahead = Flag()
    done_by = Text(max_length=40, required=False)
    instructions = Text(max_length=10_000, lines=True, required=False)
    cautions = Text(max_length=10_000, lines=True, required=False)
    mechanic_id = Id(allow_null=True)
    after_ids = serializers.ListField(child=Id(), max_length=100)


class StartIn(Body):
    override_reason = Text(max_length=200, required=False, help_text="For an owner who starts it out of order.")


class Place(Body):
    position = Int(min_value=1, max_value=1000)


class GateOut(Out):
    id = Id()
    stage_id = Id()
    text = serializers.CharField()
    when = serializers.ChoiceField(choices=PlanGate.When.choices)
    signed_at = Moment(allow_null=True)
    signed_by = serializers.CharField(allow_null=True)
    note = serializers.CharField()


@extend_schema_field(
    {
        "type": ["object", "null"],
        "required": ["reason", "note", "since"],
        "properties": {
            "reason": {"type": "string", "enum": Hold.Reason.values},
            "note": {"type": "string"},
            "since": {"type": "string", "format": "date-time"},
        },
    }
)
class HoldShape(serializers.Field):
    def to_representation(self, value: Any) -> Any:
        return value


class StageOut(Out):
    id = Id()
    card_id = Id()
    card_number = serializers.CharField(source="card.number")
    position = Int()
    name = serializers.CharField()
    kind = serializers.ChoiceField(choices=StageKind.choices)
    standard_hours = Number(places=2)
    done_by = serializers.CharField()
    chargeable = Flag()
    needs_go_ahead = Flag()
    instructions = serializers.CharField()
    cautions = serializers.CharField()
    after_ids = serializers.ListField(child=Id())
    mechanic_id = Id(allow_null=True)
    mechanic = serializers.CharField(allow_null=True)
    go_ahead_at = Moment(allow_null=True)
    go_ahead_ref = serializers.CharField()
    declined_at = Moment(allow_null=True)
    started_at = Moment(allow_null=True)
    started_by = serializers.CharField(allow_null=True)
    finished_at = Moment(allow_null=True)
    finished_by = serializers.CharField(allow_null=True)
    override_reason = serializers.CharField()
    removed_at = Moment(allow_null=True)
    state = serializers.ChoiceField(choices=[s.value for s in StageState])
    words = serializers.CharField(help_text="The state in words, with what it waits for.")
    hold = HoldShape(allow_null=True)
    gates = GateOut(many=True, source="live_gates")
    version = Int()

    def to_representation(self, row: Any) -> Any:
        row.state, row.words = queries.stage_state(row).value, queries.stage_words(row)
        row.after_ids = [s.pk for s in row.all_after if s.removed_at is None]
        row.hold = None
        if row.hold_reason:
            row.hold = {
                "reason": row.hold_reason,
                "note": row.hold_note,
                "since": Moment().to_representation(row.hold_since),
            }
        return super().to_representation(row)


class StageQuery(Query):
    card_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    mechanic_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    nobody = serializers.BooleanField(default=False, help_text="Only those given to no mechanic.")
    todo = serializers.BooleanField(
        required=False, allow_null=True, default=None, help_text="Left to do on a card that is in the shop."
    )


class Stages(Resource):
    kind = "stage"
    out = StageOut

    @lists(
        "cards.read",
        query=StageQuery,
        orders={"card": ("card_id", "position", "id"), "newest": ("-id",), "oldest": ("id",)},
    )
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.stages(**query)

    @reads("cards.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.stage(pk)

    @posts("cards.edit", body=StageIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return queries.stage(actions.add_stage(body.pop("card_id"), **body, by=request.user).pk)

    @edits("cards.edit", body=StageEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return queries.stage(actions.edit_stage(pk, expect, by=request.user, **body).pk)

    @removes("cards.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        return actions.remove_stage(pk, expect, by=request.user)

    @verb("cards.edit", path="move", body=Place)
    def move(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return queries.stage(actions.move_stage(pk, body["position"], by=request.user).pk)

    @verb("stages.work", path="start", body=StartIn)
    def start(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return queries.stage(actions.start_stage(pk, by=request.user, **body).pk)

    @verb("stages.work", path="unfinish", body=Reason)
    def unfinish(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return queries.stage(actions.unfinish_stage(pk, by=request.user, **body).pk)

    @verb("cards.hold", path="resume")
    def resume(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return queries.stage(actions.resume_stage(pk, by=request.user).stage_id or 0)


class GateIn(Body):
    stage_id = Id()
    text = Text(max_length=200)
    when = Choice(choices=PlanGate.When.choices, default="finish")


class SignIn(Body):
    note = Text(max_length=200, required=False)


class GateQuery(Query):
    card_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    stage_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    unsigned = serializers.BooleanField(required=False, allow_null=True, default=None)


class Gates(Resource):
    kind = "gate"
    out = GateOut

    @lists("cards.read", query=GateQuery, orders={"oldest": ("id",), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.gates(**query)

    @reads("cards.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.gate(pk)

    @posts("cards.edit", body=GateIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_gate(body.pop("stage_id"), by=request.user, **body)

    @verb("stages.work", path="sign", body=SignIn)
    def sign(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return actions.sign_gate(pk, by=request.user, **body)

    @removes("cards.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        return actions.remove_gate(pk, by=request.user)


class NoteIn(Body):
    card_id = Id()
    stage_id = Id(required=False, allow_null=True)
    text = Text(max_length=4000, lines=True)


class NoteOut(Out):
    id = Id()
    card_id = Id()
    stage_id = Id(allow_null=True)
    text = serializers.CharField()
    at = Moment()
    by = serializers.CharField()


class NoteQuery(Query):
    card_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    stage_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)


class Notes(Resource):
    kind = "note"
    out = NoteOut

    @lists("cards.read", query=NoteQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.notes(**query)

    @reads("cards.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.note(pk)

    @posts("notes.add", body=NoteIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_note(body.pop("card_id"), by=request.user, **body)


def register(router: Any) -> None:
    router.register("gates", Gates, basename="gates")
    router.register("notes", Notes, basename="notes")
