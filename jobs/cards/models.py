from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from jobs.plans.models import PlanGate, StageShape

PERSON = settings.AUTH_USER_MODEL


class Unbilled(models.TextChoices):
    """Why a card is closed without an invoice."""

    WARRANTY = "warranty", "Warranty"
    GOODWILL = "goodwill", "Goodwill"
    OWN = "own", "Own machine"
    OTHER = "other", "Another reason"


class JobCard(models.Model):
    """One visit of one machine. Its state is what has happened to it: booked, in the shop, finished, handed over,
    cancelled; derived from the moments below. Paid, waiting and late are derived too."""

    number = models.CharField(max_length=12, unique=True)  # "26-0031"
    machine = models.ForeignKey("jobs_machines.Machine", on_delete=models.PROTECT, related_name="cards")
    customer = models.ForeignKey("jobs_machines.Customer", on_delete=models.PROTECT, related_name="cards")
    site = models.ForeignKey("shop_business.Site", on_delete=models.PROTECT, related_name="+")
    complaint = models.TextField()  # in the customer's words
    came_with = models.TextField(blank=True)  # what else was handed in
    promised_on = models.DateField(null=True, blank=True)
    plans_used = models.CharField(max_length=200, blank=True)  # names, as copied
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    arrived_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    handed_over_at = models.DateTimeField(null=True, blank=True)
    invoiced_at = models.DateTimeField(null=True, blank=True)  # its first invoice; a credit note doesn't take it back
    # handed over and never to be billed; an invoice that the owner issues all the same comes after it
    unbilled_at = models.DateTimeField(null=True, blank=True)
    unbilled_reason = models.CharField(max_length=8, choices=Unbilled.choices, blank=True)
    unbilled_note = models.CharField(max_length=200, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    cancel_reason = models.CharField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        indexes = (
            models.Index(
                fields=("promised_on", "id"),
                name="cards_open",
                condition=Q(handed_over_at__isnull=True, cancelled_at__isnull=True),
            ),
            models.Index(
                fields=("finished_at", "id"),
                name="cards_to_invoice",
                condition=Q(finished_at__isnull=False, cancelled_at__isnull=True, invoiced_at__isnull=True),
            ),
            models.Index(fields=("-id",), name="cards_newest"),
            models.Index(fields=("invoiced_at", "id"), name="cards_invoiced"),
            models.Index(fields=("unbilled_at", "id"), name="cards_unbilled", condition=Q(unbilled_at__isnull=False)),
            models.Index(
                fields=("cancelled_at", "id"), name="cards_cancelled", condition=Q(cancelled_at__isnull=False)
            ),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(unbilled_at__isnull=True, unbilled_reason="")
                | (Q(unbilled_at__isnull=False, handed_over_at__isnull=False) & ~Q(unbilled_reason="")),
                name="cards_unbilled_when_over",
            ),
            models.CheckConstraint(
                condition=Q(handed_over_at__isnull=True) | Q(finished_at__isnull=False),
                name="cards_finish_first",
            ),
            models.CheckConstraint(
                condition=Q(cancelled_at__isnull=True) | Q(handed_over_at__isnull=True), name="cards_one_end"
            ),
        )

    def __str__(self) -> str:
        return self.number


class Stage(StageShape):
    """One step of a card."""

    card = models.ForeignKey(JobCard, on_delete=models.PROTECT, related_name="stages")
    plan_stage = models.ForeignKey(  # what it was copied from, while that is still there
        "jobs_plans.PlanStage", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    after = models.ManyToManyField("self", symmetrical=False, related_name="before", blank=True)
    go_ahead_at = models.DateTimeField(null=True, blank=True)  # set by estimates when the customer said yes
    go_ahead_ref = models.CharField(max_length=80, blank=True)  # "estimate 26-0012 revision 2"
    declined_at = models.DateTimeField(null=True, blank=True)  # the customer said no
    started_at = models.DateTimeField(null=True, blank=True)
    started_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    finished_at = models.DateTimeField(null=True, blank=True)
    finished_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    override_reason = models.CharField(max_length=200, blank=True)  # started before its predecessors
    override_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    removed_at = models.DateTimeField(null=True, blank=True)
    mechanic = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="stages")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("position", "id")
        indexes = (
            models.Index(fields=("card", "position", "id"), name="cards_stage_order"),
            models.Index(
                fields=("plan_stage", "-finished_at", "-id"),
                name="cards_stage_learnt",
                condition=Q(finished_at__isnull=False, removed_at__isnull=True),
            ),
            models.Index(
                fields=("mechanic",),
                name="cards_stage_todo",
                condition=Q(finished_at__isnull=True, removed_at__isnull=True),
            ),
        )
        constraints = (
            models.CheckConstraint(condition=Q(standard_hours__gte=0), name="cards_hours_not_negative"),
            models.CheckConstraint(
                condition=Q(finished_at__isnull=True) | Q(started_at__isnull=False), name="cards_start_first"
            ),
        )

    def __str__(self) -> str:
        return f"{self.position} {self.name}"


class Gate(models.Model):
    """A yes/no condition that is signed before a stage can start or finish. A signature stays."""

    stage = models.ForeignKey(Stage, on_delete=models.PROTECT, related_name="gates")
    position = models.PositiveSmallIntegerField(default=1)
    text = models.CharField(max_length=200)
    when = models.CharField(max_length=6, choices=PlanGate.When.choices, default=PlanGate.When.FINISH)
    signed_at = models.DateTimeField(null=True, blank=True)
    signed_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("position", "id")


class Hold(models.Model):
    """A card (no stage) or a stage stands still, for one reason."""

    class Reason(models.TextChoices):
        GO_AHEAD = "go-ahead", "the customer's go-ahead"
        PARTS = "parts", "parts"
        SUBLET = "sublet", "sublet work"
        TOOL = "tool", "a tool"
        MANUAL = "manual", "a question to the maker's manual"
        OTHER = "other", "something else"

    card = models.ForeignKey(JobCard, on_delete=models.PROTECT, related_name="holds")
    stage = models.ForeignKey(Stage, null=True, blank=True, on_delete=models.PROTECT, related_name="holds")
    reason = models.CharField(max_length=10, choices=Reason.choices)
    note = models.CharField(max_length=300, blank=True)
    since = models.DateTimeField()
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=("stage",),
                condition=Q(ended_at__isnull=True, stage__isnull=False),
                name="cards_one_stage_hold",
            ),
            models.UniqueConstraint(
                fields=("card",),
                condition=Q(ended_at__isnull=True, stage__isnull=True),
                name="cards_one_card_hold",
            ),
        )


class CardNote(models.Model):
    """Something worth remembering, on the card or one of its stages. Append-only."""

    card = models.ForeignKey(JobCard, on_delete=models.PROTECT, related_name="notes")
    stage = models.ForeignKey(Stage, null=True, blank=True, on_delete=models.PROTECT, related_name="notes")
    text = models.TextField()
    at = models.DateTimeField()
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
