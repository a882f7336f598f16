from __future__ import annotations

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import F, Q


class ImportRun(models.Model):
    """One file of rows: checked whole first, then written in short transactions. `next_row` moves with the rows it counts,
    so a run that was cut off goes on where it stood."""

    kind = models.CharField(max_length=12)
    file = models.FileField(upload_to="imports/%Y/%m", max_length=200)
    file_name = models.CharField(max_length=200)
    decimal_comma = models.BooleanField(default=False)
    rows = models.PositiveIntegerField()
    bad = models.PositiveIntegerField()  # rows with a finding
    bad_rows = models.JSONField(default=list)  # their numbers
    findings = models.JSONField(default=list, encoder=DjangoJSONEncoder)  # the first of them: row, column, text
    sample = models.JSONField(default=list)  # the first rows as read
    created_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    next_row = models.PositiveIntegerField(default=0)
    written = models.PositiveIntegerField(default=0)
    refused = models.JSONField(default=list, encoder=DjangoJSONEncoder)  # while writing: row, column, text

    class Meta:
        constraints = (models.CheckConstraint(condition=Q(next_row__lte=F("rows")), name="exchange_inside_file"),)

    @property
    def good(self) -> int:
        return self.rows - self.bad

    @property
    def state(self) -> str:
        if self.done_at:
            return "Written"
        if self.started_at:
            return "Being written"
        return "Checked, nothing written yet"
