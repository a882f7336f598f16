from __future__ import annotations

from django.conf import settings
from django.db import models


class Attachment(models.Model):
    """A photo or file that belongs to something (a machine, a card, a stage, an invoice). Archived, never deleted."""

    subject = models.CharField(max_length=40)  # short model name, as in the trail
    subject_id = models.BigIntegerField()
    root = models.CharField(max_length=40, blank=True)  # the card a stage's photo belongs to
    root_id = models.BigIntegerField(null=True, blank=True)
    title = models.CharField(max_length=160, blank=True)
    original_name = models.CharField(max_length=200, blank=True)
    media_type = models.CharField(max_length=60)
    size = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)
    file = models.FileField(upload_to="attachments/%Y/%m", max_length=200)
    thumbnail = models.FileField(upload_to="attachments/%Y/%m", max_length=200, blank=True)
    width = models.PositiveIntegerField(null=True, blank=True)
    height = models.PositiveIntegerField(null=True, blank=True)
    added_at = models.DateTimeField()
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    archived_at = models.DateTimeField(null=True, blank=True)
    shown_to_customer = models.BooleanField(default=False)  # ticked by the office; else nobody outside sees it

    class Meta:
        indexes = (
            models.Index(fields=("subject", "subject_id", "-id"), name="documents_by_subject"),
            models.Index(fields=("root", "root_id", "-id"), name="documents_by_root"),
        )
