from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

PERSON = settings.AUTH_USER_MODEL


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
