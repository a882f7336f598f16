from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext

QTY = {"max_digits": 18, "decimal_places": 6}


class Need(models.Model):
    """A part needed for a stage, with what is kept for it and what has been drawn against it."""

    stage = models.ForeignKey("jobs_cards.Stage", on_delete=models.PROTECT, related_name="needs")
    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="needs")
    quantity = models.DecimalField(**QTY)
    drawn = models.DecimalField(**QTY, default=0)  # net of returns; cached beside the draw
    reservation = models.OneToOneField(
        "inventory_stock.Reservation", null=True, blank=True, on_delete=models.PROTECT, related_name="need"
    )
    note = models.CharField(max_length=200, blank=True)
    declined_at = models.DateTimeField(null=True, blank=True)  # the customer said no to the part
    declined_ref = models.CharField(max_length=80, blank=True)  # "estimate 26-0012 revision 2"
    removed_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(condition=Q(quantity__gt=0), name="draws_need_quantity"),
            models.CheckConstraint(condition=Q(drawn__gte=0), name="draws_need_drawn"),
            models.UniqueConstraint(
                fields=("stage", "part"), condition=Q(removed_at__isnull=True), name="draws_need_once"
            ),
        )
        indexes = (
            models.Index(
                fields=("part",), name="draws_need_open",
                condition=Q(removed_at__isnull=True, declined_at__isnull=True, quantity__gt=F("drawn")),
            ),
        )  # fmt: skip


# still to be drawn
OPEN_NEED = Q(removed_at__isnull=True, declined_at__isnull=True, quantity__gt=F("drawn"))
# and its stage is still to be done, on a card that is open
WORK_LEFT = Q(
    stage__finished_at__isnull=True, stage__removed_at__isnull=True, stage__declined_at__isnull=True,
    stage__card__finished_at__isnull=True, stage__card__cancelled_at__isnull=True,
)  # fmt: skip


class Promise(models.Model):
    """Some of an order line that is meant for one need because somebody said so: ordered for it, or moved to it. It gives
    no more than the line still brings and the need still lacks (`supply.py`); what arrives of it becomes a reservation."""

    need = models.ForeignKey(Need, on_delete=models.PROTECT, related_name="promises")
    order_line = models.ForeignKey(  # goes with the line when that is taken off a draft
        "inventory_buying.OrderLine", on_delete=models.CASCADE, related_name="+"
    )
    quantity = models.DecimalField(**QTY)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("need", "order_line"), name="draws_promise_once"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="draws_promise_quantity"),
        )


class Tray(models.Model):
    """A kit tray with a number, at a site. The row is the lock for what is noted of it."""

    site = models.ForeignKey("shop_business.Site", on_delete=models.PROTECT, related_name="+")
    number = models.CharField(max_length=20)  # folded: "A 7" and "a 7" are one

    class Meta:
        constraints = (models.UniqueConstraint(fields=("site", "number"), name="draws_tray_once"),)


class TrayUse(models.Model):
    """The parts for a stage are in a tray, until it is noted as empty."""

    tray = models.ForeignKey(Tray, on_delete=models.PROTECT, related_name="uses")
    stage = models.ForeignKey("jobs_cards.Stage", on_delete=models.PROTECT, related_name="trays")
    called = models.CharField(max_length=20)  # as it was typed
    since = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    cleared_at = models.DateTimeField(null=True, blank=True)
    cleared_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(
                fields=("tray", "stage"), condition=Q(cleared_at__isnull=True), name="draws_tray_use_once"
            ),
        )
        indexes = (models.Index(fields=("stage",), name="draws_tray_in_use", condition=Q(cleared_at__isnull=True)),)

    def __str__(self) -> str:
        return self.called

    @property
    def words(self) -> str:
        return gettext("All parts are in tray %s") % self.called


class Draw(models.Model):
    """What one movement took for a stage: the bridge from a card to the ledger. Only `returned`, `fitted` and
    `spent` move; the rest never changes."""

    stage = models.ForeignKey("jobs_cards.Stage", on_delete=models.PROTECT, related_name="draws")
    card = models.ForeignKey("jobs_cards.JobCard", on_delete=models.PROTECT, related_name="draws")
    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="draws")
    need = models.ForeignKey(Need, null=True, blank=True, on_delete=models.PROTECT, related_name="draws")
    movement = models.OneToOneField("inventory_stock.Movement", on_delete=models.PROTECT, related_name="draw")
    quantity = models.DecimalField(**QTY)  # positive
    value = models.DecimalField(max_digits=20, decimal_places=6)  # its cost; never shown to mechanics
    returned = models.DecimalField(**QTY, default=0)
    fitted = models.DecimalField(**QTY, default=0)
    spent = models.DecimalField(**QTY, default=0)  # trial fitted or spoiled: used up, not in the machine
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = (models.Index(fields=("card", "id"), name="draws_by_card"),)
        constraints = (
            models.CheckConstraint(condition=Q(quantity__gt=0), name="draws_quantity"),
            models.CheckConstraint(
                condition=Q(returned__gte=0, fitted__gte=0, spent__gte=0)
                & Q(quantity__gte=F("returned") + F("fitted") + F("spent")),
                name="draws_parts_of_whole",
            ),
        )


class DrawEvent(models.Model):
    """What happened to something drawn: returned, fitted, fitted for trial, spoiled. Append-only."""

    class Kind(models.TextChoices):
        RETURN = "return", "Returned"
        FIT = "fit", "Fitted"
        TRIAL = "trial", "Fitted for trial"
        SPOILED = "spoiled", "Spoiled"
        OFF = "off", "Taken off again"
        CORRECT = "correct", "Was not fitted after all"

    draw = models.ForeignKey(Draw, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    quantity = models.DecimalField(**QTY)
    movement = models.OneToOneField(
        "inventory_stock.Movement", null=True, blank=True, on_delete=models.PROTECT, related_name="draw_event"
    )  # for a return
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = (models.CheckConstraint(condition=Q(quantity__gt=0), name="draws_event_quantity"),)
