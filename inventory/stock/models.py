"""Tables of the stock ledger.

A Movement is one immutable row: +/- a quantity of one lot in one bin. A Balance is the cached sum of movements for one
lot in one bin, a StockLevel the cached sum for a part at a site together with what is promised; both change only beside
their movement or reservation, inside the lock on the StockLevel row. `check_ledger` recomputes all of it.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q

QTY = {"max_digits": 18, "decimal_places": 6}
COST = {"max_digits": 18, "decimal_places": 6}
VALUE = {"max_digits": 20, "decimal_places": 6}


class Bin(models.Model):
    """A place where parts lie: a shelf, a mechanic's box, a kit tray, quarantine."""

    class Kind(models.TextChoices):
        SHELF = "shelf", "Shelf"
        BOX = "box", "Mechanic's box"
        TRAY = "tray", "Kit tray"
        QUARANTINE = "quarantine", "Quarantine"  # on hand but not free to draw

    site = models.ForeignKey("shop_business.Site", on_delete=models.PROTECT)
    code = models.CharField(max_length=24)  # "A3-02", also its barcode
    rack = models.CharField(max_length=24, blank=True)
    name = models.CharField(max_length=80, blank=True)
    kind = models.CharField(max_length=12, choices=Kind.choices, default=Kind.SHELF)
    keeper = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("code",)
        constraints = (models.UniqueConstraint(fields=("site", "code"), name="stock_bin_code"),)

    def __str__(self) -> str:
        return self.code

    @property
    def is_quarantine(self) -> bool:
        return self.kind == self.Kind.QUARANTINE


class Lot(models.Model):
    """What came in together: one part, one cost, one batch, one expiry. Cost and origin never change; when an invoice says
    another cost later, `cost_now` is what the lot is valued at from then on (see Revaluation)."""

    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="lots")
    number = models.CharField(max_length=24, unique=True)  # ours, on the label
    batch = models.CharField(max_length=40, blank=True)  # the supplier's
    serial_no = models.CharField(max_length=60, blank=True)
    source = models.CharField(max_length=120, blank=True)  # supplier and delivery note, or "opening stock"
    received_at = models.DateTimeField()
    expires_on = models.DateField(null=True, blank=True)  # last day it may be used
    opened_at = models.DateTimeField(null=True, blank=True)
    opened_expires_on = models.DateField(null=True, blank=True)
    opened_from = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="opened")
    unit_cost = models.DecimalField(**COST)  # per unit of the part, before tax, landed; as received
    cost_now = models.DecimalField(**COST, null=True, blank=True)  # by the last Revaluation; null: as received
    currency = models.CharField(max_length=3)

    class Meta:
        indexes = (models.Index(fields=("part", "expires_on", "received_at", "id"), name="stock_lot_order"),)
        constraints = (models.CheckConstraint(condition=Q(unit_cost__gte=0), name="stock_lot_cost"),)

    def __str__(self) -> str:
        return self.number

    @property
    def last_day(self) -> date | None:
        """The last day it may be used, opened or not. None: it keeps."""
        return self.opened_expires_on or self.expires_on

    @property
    def cost(self) -> Decimal:
        """What a unit of it costs as far as is known now; movements are posted at it."""
        return self.unit_cost if self.cost_now is None else self.cost_now


class Movement(models.Model):
    """One ledger row. Append-only: a trigger refuses change on both databases."""

    class Kind(models.TextChoices):
        RECEIPT = "receipt", "Receipt"
        DRAW = "draw", "Draw"
        RETURN = "return", "Return"
        TRANSFER = "transfer", "Transfer"
        COUNT = "count", "Count difference"
        SCRAP = "scrap", "Scrap"
        REVALUE = "revalue", "Cost difference"  # value only, quantity 0
        KIT = "kit", "Kit broken open"  # a kit out, its parts in
        SENT_BACK = "sent-back", "Sent back"  # to the supplier

    kind = models.CharField(max_length=10, choices=Kind.choices)
    posting = models.UUIDField(db_index=True)  # rows that were posted together
    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="movements")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="movements")
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, related_name="movements")
    site = models.ForeignKey("shop_business.Site", on_delete=models.PROTECT, related_name="+")
    quantity = models.DecimalField(**QTY)  # signed, in the part's unit
    value = models.DecimalField(**VALUE)  # signed, quantity x the lot's cost then, in the lot's currency
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    label = models.CharField(max_length=120, blank=True)  # what for, in words: "card 26-0031, stage 4"
    reason = models.CharField(max_length=200, blank=True)
    override = models.CharField(max_length=200, blank=True)  # why an expired lot was used, by an owner
    holder = models.CharField(max_length=20, blank=True)  # the room that holds its key ("card"): only it brings it back
    # the draw that a return brings back; the outflow whose cost a REVALUE corrects
    reverses = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="reversed_by")

    class Meta:
        indexes = (
            models.Index(fields=("part", "-id"), name="stock_move_part"),
            models.Index(fields=("kind", "-id"), name="stock_move_kind"),
            models.Index(fields=("lot", "id"), name="stock_move_lot"),
            models.Index(fields=("bin", "-id"), name="stock_move_bin"),
            models.Index(fields=("at",), name="stock_move_at"),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(kind="revalue", quantity=0)
                | Q(kind__in=("receipt", "return"), quantity__gt=0)
                | Q(kind__in=("draw", "scrap", "sent-back"), quantity__lt=0)
                | (Q(kind__in=("transfer", "count", "kit")) & ~Q(quantity=0)),
                name="stock_move_sign",
            ),
        )


class Balance(models.Model):
    """On hand of one lot in one bin: the sum of its movements."""

    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="balances")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="balances")
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, related_name="balances")
    on_hand = models.DecimalField(**QTY, default=0)
    counted_at = models.DateTimeField(null=True, blank=True)  # when somebody looked last

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("lot", "bin"), name="stock_balance_place"),
            models.CheckConstraint(condition=Q(on_hand__gte=0), name="stock_balance_not_negative"),
        )
        indexes = (
            models.Index(fields=("part",), name="stock_balance_left", condition=Q(on_hand__gt=0)),
            models.Index(fields=("bin",), name="stock_balance_bin", condition=Q(on_hand__gt=0)),
        )


class StockLevel(models.Model):
    """On hand and promised of one part at one site. This row is the lock for all that happens to the part there."""

    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="levels")
    site = models.ForeignKey("shop_business.Site", on_delete=models.PROTECT, related_name="+")
    on_hand = models.DecimalField(**QTY, default=0)
    reserved = models.DecimalField(**QTY, default=0)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("part", "site"), name="stock_level_once"),
            models.CheckConstraint(condition=Q(on_hand__gte=0), name="stock_level_not_negative"),
            models.CheckConstraint(
                condition=Q(reserved__gte=0) & Q(reserved__lte=F("on_hand")), name="stock_level_reserved"
            ),
        )


class Reservation(models.Model):
    """A promise of quantity out of what is on hand. Reduces what is free, not what is on hand. Whoever asks (a stage's
    need) holds the foreign key here; stock only knows the words to show."""

    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="reservations")
    site = models.ForeignKey("shop_business.Site", on_delete=models.PROTECT, related_name="+")
    quantity = models.DecimalField(**QTY)  # still promised
    label = models.CharField(max_length=120)  # "card 26-0031"
    wanted_on = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = (
            models.Index(fields=("part", "site"), name="stock_reservation_open", condition=Q(ended_at__isnull=True)),
        )
        constraints = (models.CheckConstraint(condition=Q(quantity__gte=0), name="stock_reservation_quantity"),)


class Revaluation(models.Model):
    """A lot turned out to cost something else (a late supplier's invoice). Append-only.

    The REVALUE movements of its `posting` carry the difference; what was posted before stays as it was. Movements of the lot
    before `since` were posted at `was`, later ones at `now`. `used` had left the lot by then (drawn and not brought back,
    scrapped, counted away); its share of the difference is a cost of what it was used for.
    """

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="revaluations")
    was = models.DecimalField(**COST)
    now = models.DecimalField(**COST)
    on_hand = models.DecimalField(**QTY)
    used = models.DecimalField(**QTY)
    on_hand_value = models.DecimalField(**VALUE)  # what the stock is worth more (or less)
    used_value = models.DecimalField(**VALUE)  # what the use of it cost more (or less)
    reason = models.CharField(max_length=200)
    posting = models.UUIDField()
    since = models.ForeignKey(Movement, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = (models.Index(fields=("lot", "id"), name="stock_revaluation_lot"),)
        constraints = (models.CheckConstraint(condition=Q(now__gte=0), name="stock_revaluation_cost"),)


class Closing(models.Model):
    """A month was added up: its lines hold all movements before `until`, so that a value at a past date takes the movements
    of at most a month. Append-only; `check_ledger` recomputes it."""

    until = models.DateTimeField(unique=True)  # not included
    made_at = models.DateTimeField()


class ClosingLine(models.Model):
    """What there was of a part at the end of a month; a part without stock and value has no line."""

    closing = models.ForeignKey(Closing, on_delete=models.PROTECT, related_name="lines")
    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="+")
    quantity = models.DecimalField(**QTY)
    value = models.DecimalField(**VALUE)  # first in first out by lot
    average_value = models.DecimalField(**VALUE)  # by moving average

    class Meta:
        constraints = (models.UniqueConstraint(fields=("closing", "part"), name="stock_closing_once"),)


class CountList(models.Model):
    """Bins that somebody counts, without being told what the ledger expects. Closed when every line is."""

    number = models.CharField(max_length=24, unique=True)
    site = models.ForeignKey("shop_business.Site", on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, blank=True)
    limit_value = models.DecimalField(
        **COST
    )  # a difference worth this much, in the shop's currency, is looked at again
    limit_percent = models.DecimalField(max_digits=6, decimal_places=2)  # or one of this share of what was expected
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    cancelled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(condition=Q(limit_value__gte=0, limit_percent__gte=0), name="stock_count_limits"),
        )

    def __str__(self) -> str:
        return self.number


class CountLine(models.Model):
    """One bin of a count list, or one part in it. This row is the lock for what is counted there."""

    count = models.ForeignKey(CountList, on_delete=models.PROTECT, related_name="lines")
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, related_name="count_lines")
    part = models.ForeignKey("inventory_parts.Part", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    finished_at = models.DateTimeField(null=True, blank=True)  # all of it was looked at
    finished_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    closed_at = models.DateTimeField(null=True, blank=True)  # differences are posted
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    reason = models.CharField(max_length=200, blank=True)  # of the differences

    class Meta:
        ordering = ("bin__code", "id")
        constraints = (
            models.UniqueConstraint(
                fields=("count", "bin", "part"), condition=Q(part__isnull=False), name="stock_count_part_once"
            ),
            models.UniqueConstraint(
                fields=("count", "bin"), condition=Q(part__isnull=True), name="stock_count_bin_once"
            ),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True) | Q(finished_at__isnull=False), name="stock_count_line_order"
            ),
        )


class CountTally(models.Model):
    """Somebody looked: so much of a lot lies there. Append-only; the last one of a lot counts. What the ledger expected at
    that moment stands beside it, so that it doesn't matter what is drawn until the difference is posted."""

    line = models.ForeignKey(CountLine, on_delete=models.PROTECT, related_name="tallies")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+")
    counted = models.DecimalField(**QTY)
    expected = models.DecimalField(**QTY)
    seen = models.PositiveBigIntegerField()  # the last movement of the lot in this bin that `expected` holds; 0: none
    again = models.BooleanField()  # a second look
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
        constraints = (models.CheckConstraint(condition=Q(counted__gte=0, expected__gte=0), name="stock_tally_sign"),)

    @property
    def difference(self) -> Decimal:
        return self.counted - self.expected
