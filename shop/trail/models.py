from __future__ import annotations

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models


class TrailRow(models.Model):
    """One thing somebody did. Append-only, also for the database."""

    at = models.DateTimeField(db_index=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    verb = models.CharField(max_length=60)  # "card.opened"
    subject = models.CharField(max_length=40)  # "card"
    subject_id = models.BigIntegerField()
    root = models.CharField(max_length=40)  # what the history page is about: "card" for its stages, draws, hours
    root_id = models.BigIntegerField()
    detail = models.JSONField(default=dict, encoder=DjangoJSONEncoder)
    request_id = models.CharField(max_length=64, blank=True)

    class Meta:
        indexes = (
            models.Index(fields=("root", "root_id", "-id"), name="trail_by_root"),
            models.Index(fields=("subject", "subject_id", "-id"), name="trail_by_subject"),
        )


class OutboxRow(models.Model):
    """A side effect, written with the change that causes it, delivered at least once afterwards."""

    topic = models.CharField(max_length=60)  # names a handler
    payload = models.JSONField(encoder=DjangoJSONEncoder)
    created_at = models.DateTimeField()
    due_at = models.DateTimeField()
    claimed_at = models.DateTimeField(null=True)
    claim = models.CharField(max_length=40, blank=True)
    attempts = models.PositiveIntegerField(default=0)
    done_at = models.DateTimeField(null=True)
    failed_at = models.DateTimeField(null=True)  # given up; visible, can be sent again
    last_error = models.TextField(blank=True)

    class Meta:
        indexes = (
            models.Index(
                fields=("due_at", "id"),
                name="outbox_waiting",
                condition=models.Q(done_at__isnull=True, failed_at__isnull=True),
            ),
        )

    @property
    def about(self) -> str:
        """What it is, in words, for a list. Says nothing of its content."""
        if self.topic == "mail.send":
            to = self.payload.get("to", "")
            return "Mail to " + (to if isinstance(to, str) else ", ".join(map(str, to)))[:120]
        return self.topic.replace(".", " ").replace("-", " ").capitalize()


class KeptAnswer(models.Model):
    """The answer to a posting, kept under the client's key so that a repeat happens once."""

    scope = models.CharField(max_length=60)  # "token:12", "session:5"
    key = models.CharField(max_length=80)
    fingerprint = models.CharField(max_length=64)  # SHA-256 of method, path and body
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    body = models.TextField(blank=True)
    created_at = models.DateTimeField(db_index=True)

    class Meta:
        constraints = (models.UniqueConstraint(fields=("scope", "key"), name="trail_key_once"),)
