from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

PERSON = settings.AUTH_USER_MODEL


class PlanSaid(models.Model):
    """The hours of the plan at the moment a stage was copied from it onto a card. What a plan says later changes no card, and
    what was learnt of the stage is a factor on these."""

    stage = models.OneToOneField("jobs_cards.Stage", on_delete=models.PROTECT, related_name="+")
    standard_hours = models.DecimalField(max_digits=8, decimal_places=2)
    prior_hours = models.DecimalField(max_digits=8, decimal_places=2)  # as a person had typed them

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(standard_hours__gt=0, prior_hours__gt=0), name="learning_said_above_zero"
            ),
        )


class SetAside(models.Model):
    """A stage whose hours say nothing about the next job (a strike, a flood), so that they don't count. Until it is brought
    back."""

    stage = models.ForeignKey("jobs_cards.Stage", on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=200)
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("stage",), condition=Q(ended_at__isnull=True), name="learning_aside_once"),
        )
