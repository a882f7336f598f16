from __future__ import annotations

from django.db import models
from django.db.models import Q


class StageKind(models.TextChoices):
    STRIP = "strip", "Strip"
    CLEAN = "clean", "Clean"
    MEASURE = "measure", "Measure"
    REWORK = "rework", "Rework here"
    SUBLET = "sublet", "Sublet"
    ASSEMBLE = "assemble", "Assemble"
    FIT = "fit", "Fit"
    TEST = "test", "Test"


# Finding out what is wrong; may start before the customer's go-ahead unless the stage says otherwise.
DIAGNOSIS_KINDS = frozenset({StageKind.STRIP, StageKind.CLEAN, StageKind.MEASURE})


class WorkPlan(models.Model):
    """A reusable list of stages, gates and parts. A card copies it; changing it later changes no card."""

    code = models.CharField(max_length=24, unique=True)
    name = models.CharField(max_length=120)
    machine_kind = models.CharField(max_length=40, blank=True)
    maker = models.CharField(max_length=80, blank=True)
    model = models.CharField(max_length=80, blank=True)
    description = models.TextField(blank=True)
    cautions = models.TextField(blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("name", "id")

    def __str__(self) -> str:
        return self.name


class StageShape(models.Model):
    """What a planned stage and a stage on a card have in common."""

    position = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=12, choices=StageKind.choices)
    standard_hours = models.DecimalField(max_digits=8, decimal_places=2, default=0)
    done_by = models.CharField(max_length=40, blank=True)  # the labour class that may do it; blank: any mechanic
    chargeable = models.BooleanField(default=True)
    needs_go_ahead = models.BooleanField(default=True)
    instructions = models.TextField(blank=True)
    cautions = models.TextField(blank=True)

    class Meta:
        abstract = True


class PlanStage(StageShape):
    """A stage of a plan. `prior_hours` are the hours that a person typed; the standard hours may have been taken from jobs
    since, and those jobs would be counted twice if the prior moved with them. 0: no standard hours."""

    prior_hours = models.DecimalField(max_digits=8, decimal_places=2, default=0)
    plan = models.ForeignKey(WorkPlan, on_delete=models.CASCADE, related_name="stages")
    after = models.ManyToManyField("self", symmetrical=False, related_name="before", blank=True)

    class Meta:
        ordering = ("position", "id")
        constraints = (
            models.UniqueConstraint(fields=("plan", "position"), name="plans_stage_position"),
            models.CheckConstraint(condition=Q(standard_hours__gte=0), name="plans_hours_not_negative"),
            models.CheckConstraint(condition=Q(prior_hours__gte=0), name="plans_prior_not_negative"),
        )

    def __str__(self) -> str:
        return f"{self.position} {self.name}"

    @property
    def version(self) -> int:
        """The plan's: any change of the plan makes an edit of its stages, gates and parts stale."""
        return self.plan.version


class PlanGate(models.Model):
    class When(models.TextChoices):
        START = "start", "before it starts"
        FINISH = "finish", "before it finishes"

    stage = models.ForeignKey(PlanStage, on_delete=models.CASCADE, related_name="gates")
    position = models.PositiveSmallIntegerField(default=1)
    text = models.CharField(max_length=200)  # "Ports covered"
    when = models.CharField(max_length=6, choices=When.choices, default=When.FINISH)

    class Meta:
        ordering = ("position", "id")

    def __str__(self) -> str:
        return self.text

    @property
    def version(self) -> int:
        """The plan's: any change of the plan makes an edit of its stages, gates and parts stale."""
        return self.stage.version


class PlanPart(models.Model):
    stage = models.ForeignKey(PlanStage, on_delete=models.CASCADE, related_name="parts")
    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="+")
    quantity = models.DecimalField(max_digits=18, decimal_places=6)  # in the part's unit

    class Meta:
        ordering = ("id",)
        constraints = (models.CheckConstraint(condition=Q(quantity__gt=0), name="plans_part_quantity"),)

    def __str__(self) -> str:
        return str(self.part)

    @property
    def version(self) -> int:
        """The plan's: any change of the plan makes an edit of its stages, gates and parts stale."""
        return self.stage.version
