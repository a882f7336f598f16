"""Reads of the plans room."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from django.db.models import Count, DecimalField, OuterRef, Prefetch, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from shop.kernel.errors import NotFound

from .drafts import Blueprint, GateDraft, PartDraft, StageDraft
from .models import PlanGate, PlanPart, PlanStage, WorkPlan
from .order import Step, critical_path


def plans(
    *, text: str = "", machine_kind: str = "", maker: str = "", model: str = "", archived: bool = False
) -> QuerySet[WorkPlan]:
    """Plans with `stage_count` and `hours`, the sum of their stages; archived ones only when asked for.

    `machine_kind`, `maker` and `model` also find the plans that are for any kind, maker or model.
    """
    found = WorkPlan.objects.filter(archived_at__isnull=not archived)
    for word in text.split()[:8]:
        found = found.filter(
            Q(code__icontains=word) | Q(name__icontains=word) | Q(machine_kind__icontains=word)
            | Q(maker__icontains=word) | Q(model__icontains=word)
        )  # fmt: skip
    for field, value in (("machine_kind", machine_kind), ("maker", maker), ("model", model)):
        if value:
            found = found.filter(Q(**{f"{field}__iexact": value}) | Q(**{field: ""}))
    return _with_sums(found)


def plan(pk: int) -> WorkPlan | None:
    """The plan with its sums and, in five queries however long it is, its stages, their order, gates and parts."""
    return _with_sums(WorkPlan.objects.filter(pk=pk)).prefetch_related(Prefetch("stages", stages())).first()


def stages(*, plan_id: int | None = None) -> QuerySet[PlanStage]:
    """Stages with what they wait for, gates and parts; `stage.plan` is there for the version."""
    wanted = Prefetch("parts", PlanPart.objects.select_related("part"))
    found = PlanStage.objects.select_related("plan").prefetch_related("after", "gates", wanted)
    return found if plan_id is None else found.filter(plan_id=plan_id)


def stage(pk: int) -> PlanStage | None:
    return stages().filter(pk=pk).first()


def gates(*, stage_id: int | None = None, plan_id: int | None = None) -> QuerySet[PlanGate]:
    found = PlanGate.objects.select_related("stage__plan")
    if stage_id is not None:
        found = found.filter(stage_id=stage_id)
    return found if plan_id is None else found.filter(stage__plan_id=plan_id)


def gate(pk: int) -> PlanGate | None:
    return gates().filter(pk=pk).first()


def parts(*, stage_id: int | None = None, plan_id: int | None = None) -> QuerySet[PlanPart]:
    found = PlanPart.objects.select_related("stage__plan", "part")
    if stage_id is not None:
        found = found.filter(stage_id=stage_id)
    return found if plan_id is None else found.filter(stage__plan_id=plan_id)


def part(pk: int) -> PlanPart | None:
    return parts().filter(pk=pk).first()


def steps(stages: Iterable[PlanStage]) -> list[Step]:
    """Stages (with `after` fetched) as the order module takes them."""
    return [Step(s.pk, s.name, s.standard_hours, frozenset(a.pk for a in s.after.all())) for s in stages]


def longest(stages: Iterable[PlanStage]) -> tuple[Decimal, list[Step]]:
    """Hours of the longest chain through these stages (with `after` fetched), and the chain."""
    return critical_path(steps(stages))


def blueprint(pk: int) -> Blueprint:
    """The plan as plain values to copy onto a card, in five queries however long it is. Raises NotFound."""
    found = plan(pk)
    if found is None:
        raise NotFound("There is no such work plan.")
    rows = list(found.stages.all())
    position = {s.pk: n for n, s in enumerate(rows, 1)}
    return Blueprint(
        found.pk, found.code, found.name, found.cautions,
        tuple(
            StageDraft(
                name=s.name, kind=s.kind, standard_hours=s.standard_hours,
                after=tuple(sorted(position[a.pk] for a in s.after.all())), done_by=s.done_by,
                chargeable=s.chargeable, needs_go_ahead=s.needs_go_ahead,
                instructions=s.instructions, cautions=s.cautions,
                gates=tuple(GateDraft(g.text, g.when) for g in s.gates.all()),
                parts=tuple(PartDraft(p.part_id, p.quantity) for p in s.parts.all()),
            )
            for s in rows
        ),
    )  # fmt: skip


def _with_sums(rows: QuerySet[WorkPlan]) -> QuerySet[WorkPlan]:
    theirs = PlanStage.objects.filter(plan=OuterRef("pk")).order_by().values("plan")
    hours = Subquery(theirs.annotate(h=Sum("standard_hours")).values("h"), output_field=DecimalField())
    return rows.annotate(
        stage_count=Coalesce(Subquery(theirs.annotate(n=Count("pk")).values("n")), 0),
        hours=Coalesce(hours, Decimal(0), output_field=DecimalField()),
    )
