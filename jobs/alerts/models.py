from __future__ import annotations

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import Q

PERSON = settings.AUTH_USER_MODEL


class Watch(models.Model):
    """When somebody looked last. The one row is the lock for all that is written here."""

    day = models.DateField(null=True, blank=True)  # the last day with lists
    looked_at = models.DateTimeField(null=True, blank=True)


class Alert(models.Model):
    """One thing that asks for somebody, from the look that found it first to the one that didn't find it any more. Whom it
    concerns is decided by its kind (`telling.CONCERNS`), and `mechanic`, whose stage it is about."""

    key = models.CharField(max_length=60)  # what it is about: "lot:12"
    kind = models.CharField(max_length=10)
    state = models.CharField(max_length=80)  # it has changed when this has
    due_on = models.DateField(null=True, blank=True)  # the day that it is about
    facts = models.JSONField(default=dict, encoder=DjangoJSONEncoder)  # for its sentence
    rank = models.PositiveSmallIntegerField()  # 1: the most urgent kind
    mechanic = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    found_at = models.DateTimeField()
    changed_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = "alert"
        constraints = (
            models.UniqueConstraint(fields=("key",), condition=Q(ended_at__isnull=True), name="alerts_one_open"),
        )
        indexes = (models.Index(fields=("rank", "id"), condition=Q(ended_at__isnull=True), name="alerts_open"),)


class DailyList(models.Model):
    """One person's list of one day. What is on it is read from the alerts; `since` tells what of it is new: whatever changed
    after the list before was made (null: it is the first). The counts are what the menu shows."""

    person = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    day = models.DateField()
    made_at = models.DateTimeField()
    since = models.DateTimeField(null=True, blank=True)
    waiting = models.PositiveIntegerField(default=0)  # on it and not set aside
    at_bench = models.PositiveIntegerField(default=0)  # the same with the few rights of a PIN
    mailed_to = models.EmailField(blank=True)

    class Meta:
        constraints = (models.UniqueConstraint(fields=("person", "day"), name="alerts_list_once"),)


class Aside(models.Model):
    """Somebody doesn't want to see an alert until a day, or (no day) until it changes; a change always brings it back."""

    person = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    alert = models.ForeignKey(Alert, on_delete=models.PROTECT, related_name="asides")
    state = models.CharField(max_length=80)  # of the alert then
    until = models.DateField(null=True, blank=True)
    at = models.DateTimeField()

    class Meta:
        constraints = (models.UniqueConstraint(fields=("alert", "person"), name="alerts_aside_once"),)


class MailChoice(models.Model):
    """Whether a person gets the new of the day's list as a mail."""

    class Mail(models.TextChoices):
        OFF = "off", "No mail"
        DAILY = "daily", "One mail a day, when something is new"

    person = models.OneToOneField(PERSON, on_delete=models.PROTECT, related_name="+")
    mail = models.CharField(max_length=6, choices=Mail.choices, default=Mail.OFF)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name = "choice of mail"
