"""/api/v1/plans/, /plan-stages/, /plan-gates/, /plan-parts/

The ETag of a stage, gate or part carries the version of its plan: any change of the plan makes an edit stale.
"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Choice, Flag, Id, Int, Moment, Number, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb

from . import actions, drafts, queries
from .models import PlanGate, StageKind

_HOURS = {"places": 2, "digits": 8, "min_value": 0}


class PlanGateDraft(Body):
    text = Text(max_length=200)
    when = Choice(choices=PlanGate.When.choices, required=False)


class PlanPartDraft(Body):
    part_id = Id()
    quantity = Number(help_text="In the part's unit.")


class PlanStageBase(Body):
    name = Text(max_length=120)
    kind = Choice(choices=StageKind.choices)
    standard_hours = Number(**_HOURS, required=False)
    done_by = Text(max_length=40, required=False, help_text="The labour class that may do it; empty: any mechanic.")
    chargeable = Flag(required=False)
    needs_go_ahead = Flag(required=False, allow_null=True, help_text="null: as usual for its kind.")
    instructions = Text(max_length=4000, lines=True, required=False)
    cautions = Text(max_length=4000, lines=True, required=False)


class PlanStageDraft(PlanStageBase):
    after = serializers.ListField(
        child=Int(min_value=1, max_value=drafts.MOST_STAGES), required=False, max_length=drafts.MOST_STAGES,
        help_text="Places in this list, counted from 1, of the stages that come before.",
    )  # fmt: skip
    gates = PlanGateDraft(many=True, required=False)
    parts = PlanPartDraft(many=True, required=False)


class PlanBase(Body):
    code = Text(max_length=24)
    name = Text(max_length=120)
    machine_kind = Text(max_length=40, required=False, help_text="Empty: any.")
    maker = Text(max_length=80, required=False)
    model = Text(max_length=80, required=False)
    description = Text(max_length=4000, lines=True, required=False)
    cautions = Text(max_length=4000, lines=True, required=False, help_text="Left out: that the maker's manual rules.")


class PlanIn(PlanBase):
    stages = PlanStageDraft(many=True, required=False)


class PlanEdit(PlanBase):
    pass


class PlanCopy(Body):
    code = Text(max_length=24)
    name = Text(max_length=120)


class PlanGateOut(Out):
    id = Id()
    stage_id = Id()
    position = Int()
    text = Text(max_length=200)
    when = serializers.CharField()


class PlanPartOut(Out):
    id = Id()
    stage_id = Id()
    part_id = Id()
    number = serializers.CharField(source="part.number")
    name = serializers.CharField(source="part.name")
    quantity = Number()
    unit = serializers.CharField(source="part.unit")


class PlanStageOut(Out):
    id = Id()
    plan_id = Id()
    position = Int()
    name = Text(max_length=120)
    kind = serializers.CharField()
    standard_hours = Number(**_HOURS)
    prior_hours = Number(
        **_HOURS, help_text="As a person typed them; the standard hours may have been taken from jobs since."
    )
    done_by = Text(max_length=40)
    chargeable = Flag()
    needs_go_ahead = Flag()
    instructions = Text(max_length=4000)
    cautions = Text(max_length=4000)
    after_ids = serializers.SerializerMethodField(help_text="The stages that come before.")
    gates = PlanGateOut(many=True)
    parts = PlanPartOut(many=True)

    def get_after_ids(self, row: Any) -> list[int]:
        return sorted(a.pk for a in row.after.all())


class PlanHead(Out):
    id = Id()
    code = Text(max_length=24)
    name = Text(max_length=120)
    machine_kind = Text(max_length=40)
    maker = Text(max_length=80)
    model = Text(max_length=80)
    stage_count = Int()
    hours = Number(**_HOURS)
    archived_at = Moment(allow_null=True)
    version = Int()


class PlanOut(PlanHead):
    description = Text(max_length=4000)
    cautions = Text(max_length=4000)
    longest_hours = serializers.SerializerMethodField(help_text="Hours of the longest chain of stages.")
    stages = PlanStageOut(many=True)

    def get_longest_hours(self, row: Any) -> str | None:
        return Number().to_representation(queries.longest(row.stages.all())[0])


class PlanQuery(Query):
    text = serializers.CharField(
        max_length=80, required=False, help_text="All words, in code, name, kind, maker, model."
    )
    machine_kind = serializers.CharField(max_length=40, required=False, help_text="For this kind, or for any.")
    maker = serializers.CharField(max_length=80, required=False)
    model = serializers.CharField(max_length=80, required=False)
    archived = serializers.BooleanField(default=False)


class Plans(Resource):
    kind = "plan"
    out = PlanOut

    @lists("plans.read", query=PlanQuery, orders={"name": ("name", "id"), "code": ("code",)}, out=PlanHead)
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.plans(**query)

    @reads("plans.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.plan(pk)

    @posts("plans.edit", body=PlanIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        stages = [_draft(s) for s in body.pop("stages", ())]
        return queries.plan(actions.add_plan(**body, stages=stages, by=request.user).pk)

    @edits("plans.edit", body=PlanEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        actions.edit_plan(pk, expect, by=request.user, **body)
        return queries.plan(pk)

    @removes("plans.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        return actions.archive_plan(pk, expect, by=request.user)

    @verb("plans.edit", path="restore")
    def restore(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        actions.restore_plan(pk, by=request.user)
        return queries.plan(pk)

    @verb("plans.edit", path="copy", body=PlanCopy, status=201)
    def copy(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return queries.plan(actions.copy_plan(pk, by=request.user, **body).pk)


def _draft(body: dict[str, Any]) -> drafts.StageDraft:
    gates = tuple(drafts.GateDraft(**g) for g in body.pop("gates", ()))
    parts = tuple(drafts.PartDraft(**p) for p in body.pop("parts", ()))
    return drafts.StageDraft(**body | {"after": tuple(body.get("after", ()))}, gates=gates, parts=parts)


class PlanStageEdit(PlanStageBase):
    position = Int(min_value=1, max_value=drafts.MOST_STAGES, required=False, help_text="Left out: at the end.")
    after_ids = serializers.ListField(
        child=Id(), required=False, max_length=drafts.MOST_STAGES, help_text="The stages that come before."
    )


class PlanStageIn(PlanStageEdit):
    plan_id = Id()


class PlanStageMove(Body):
    position = Int(min_value=1, max_value=drafts.MOST_STAGES)


class OfPlan(Query):
    plan_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)


class OfStage(OfPlan):
    stage_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)


class Stages(Resource):
    kind = "plan-stage"
    out = PlanStageOut

    @lists("plans.read", query=OfPlan, orders={"place": ("plan_id", "position")})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.stages(**query)

    @reads("plans.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.stage(pk)

    @posts("plans.edit", body=PlanStageIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        plan_id = body.pop("plan_id")
        return queries.stage(actions.add_stage(plan_id, None, by=request.user, **body).pk)

    @edits("plans.edit", body=PlanStageEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        actions.edit_stage(pk, expect, by=request.user, **body)
        return queries.stage(pk)

    @removes("plans.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        return actions.remove_stage(pk, expect, by=request.user)

    @verb("plans.edit", path="move", body=PlanStageMove)
    def move(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        actions.move_stage(pk, None, by=request.user, **body)
        return queries.stage(pk)


class PlanGateIn(PlanGateDraft):
    stage_id = Id()


class PlanGateEdit(PlanGateDraft):
    pass


class Gates(Resource):
    kind = "plan-gate"
    out = PlanGateOut

    @lists("plans.read", query=OfStage, orders={"id": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.gates(**query)

    @reads("plans.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.gate(pk)

    @posts("plans.edit", body=PlanGateIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_gate(body.pop("stage_id"), None, by=request.user, **body)

    @edits("plans.edit", body=PlanGateEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_gate(pk, expect, by=request.user, **body)

    @removes("plans.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        return actions.remove_gate(pk, expect, by=request.user)


class PlanPartIn(PlanPartDraft):
    stage_id = Id()


class PlanPartEdit(Body):
    quantity = Number(help_text="In the part's unit.")


class Parts(Resource):
    kind = "plan-part"
    out = PlanPartOut

    @lists("plans.read", query=OfStage, orders={"id": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.parts(**query)

    @reads("plans.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.part(pk)

    @posts("plans.edit", body=PlanPartIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_part(body.pop("stage_id"), None, by=request.user, **body)

    @edits("plans.edit", body=PlanPartEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_part(pk, expect, by=request.user, **body)

    @removes("plans.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        return actions.remove_part(pk, expect, by=request.user)


def register(router: Any) -> None:
    router.register("plans", Plans, basename="plans")
    router.register("plan-gates", Gates, basename="plan-gates")
    router.register("plan-parts", Parts, basename="plan-parts")
