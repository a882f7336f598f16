from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class TimeBooking(models.Model):
    """A mechanic's interval on a stage, half-open [started_at, ended_at). Running while ended_at is empty.

    A correction is a new row that names the old one in `corrects` and sets its `superseded_at`; a correction with
    started_at = ended_at takes the old one out."""

    class Kind(models.TextChoices):
        CLOCK = "clock", "Clock"
        MANUAL = "manual", "Booked by hand"

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="bookings")
    stage = models.ForeignKey("jobs_cards.Stage", on_delete=models.PROTECT, related_name="bookings")
    kind = models.CharField(max_length=6, choices=Kind.choices)
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    break_minutes = models.PositiveSmallIntegerField(default=0)  # not worked, inside the interval
    cost_per_hour = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)  # as it was then
    labour_class = models.CharField(max_length=40, blank=True)  # of the person, as it was then
    corrects = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="correction")
    superseded_at = models.DateTimeField(null=True, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    flagged_at = models.DateTimeField(null=True, blank=True)  # ended by the day's end, not by the person

    class Meta:
        indexes = (
            models.Index(fields=("person", "started_at"), name="timebook_person"),
            models.Index(fields=("-started_at", "-id"), name="timebook_newest"),
            models.Index(fields=("stage", "id"), name="timebook_stage"),
            models.Index(
                fields=("started_at", "id"),
                name="timebook_running",
                condition=Q(ended_at__isnull=True, superseded_at__isnull=True),
            ),
            models.Index(
                fields=("-started_at", "-id"),
                name="timebook_flagged",
                condition=Q(flagged_at__isnull=False, superseded_at__isnull=True),
            ),
        )
        constraints = (
            models.UniqueConstraint(
                fields=("person",),
                condition=Q(ended_at__isnull=True, superseded_at__isnull=True),
                name="timebook_one_clock",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("started_at")), name="timebook_order"
            ),
        )


class Attendance(models.Model):
    """When a person is at work, half-open [arrived_at, left_at), whatever they book on stages. Here while left_at is empty.

    Corrected like a time booking: a new row names the old one in `corrects` and sets its `superseded_at`; a correction
    with arrived_at = left_at takes the old one out."""

    class Kind(models.TextChoices):
        PRESSED = "pressed", "Here and gone pressed"
        MANUAL = "manual", "Noted by hand"

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="attendances")
    kind = models.CharField(max_length=7, choices=Kind.choices)
    arrived_at = models.DateTimeField()
    left_at = models.DateTimeField(null=True, blank=True)
    break_minutes = models.PositiveSmallIntegerField(default=0)  # not attended, inside the interval
    corrects = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="correction")
    superseded_at = models.DateTimeField(null=True, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    flagged_at = models.DateTimeField(null=True, blank=True)  # ended by the day's end, not by the person

    class Meta:
        indexes = (
            models.Index(fields=("person", "arrived_at"), name="timebook_attending"),
            models.Index(fields=("-arrived_at", "-id"), name="timebook_attended"),
            models.Index(
                fields=("-arrived_at", "-id"),
                name="timebook_att_flagged",
                condition=Q(flagged_at__isnull=False, superseded_at__isnull=True),
            ),
        )
        constraints = (
            models.UniqueConstraint(
                fields=("person",),
                condition=Q(left_at__isnull=True, superseded_at__isnull=True),
                name="timebook_here_once",
            ),
            models.CheckConstraint(
                condition=Q(left_at__isnull=True) | Q(left_at__gte=F("arrived_at")), name="timebook_attended_order"
            ),
        )
