from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from inventory.parts.models import PartKind

QTY = {"max_digits": 18, "decimal_places": 6}
PRICE = {"max_digits": 18, "decimal_places": 6}
PERCENT = {"max_digits": 5, "decimal_places": 2}


class ReorderRule(models.Model):
    """How parts are ordered: for one part, for a kind, or (neither) for the whole shop. What is left out is as the next
    wider rule says, in the end as `rules.USUAL`."""

    part = models.OneToOneField(
        "inventory_parts.Part", null=True, blank=True, on_delete=models.PROTECT, related_name="reorder_rule"
    )
    kind = models.CharField(max_length=12, choices=PartKind.choices, blank=True)
    service_percent = models.DecimalField(**PERCENT, null=True, blank=True)
    order_cost = models.DecimalField(**PRICE, null=True, blank=True)  # of one order line, in the shop's currency
    holding_percent = models.DecimalField(**PERCENT, null=True, blank=True)  # of the price, a year
    lead_days = models.PositiveSmallIntegerField(null=True, blank=True)
    review_days = models.PositiveSmallIntegerField(null=True, blank=True)  # between two chances to order
    budget = models.DecimalField(**PRICE, null=True, blank=True)  # of the whole shop for one set of proposals
    for_cards_only = models.BooleanField(null=True, blank=True)  # kept for nobody: ordered when a card needs it
    version = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name = "reorder rule"
        constraints = (
            models.UniqueConstraint(fields=("kind",), condition=Q(part__isnull=True), name="reorder_rule_kind"),
            models.CheckConstraint(condition=Q(part__isnull=True) | Q(kind=""), name="reorder_rule_one_scope"),
            models.CheckConstraint(
                condition=Q(budget__isnull=True) | Q(part__isnull=True, kind=""), name="reorder_budget_of_shop"
            ),
        )


class ReorderRun(models.Model):
    """One working-out of all proposals. The undecided ones of the run before are replaced by it."""

    at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )  # null: by itself, at night
    event_id = models.BigIntegerField(null=True, blank=True, unique=True)  # the outbox row that asked for it
    months = models.PositiveSmallIntegerField()  # of history
    looked_at = models.PositiveIntegerField()  # parts at a site with demand, a need or a limit of their own
    proposed = models.PositiveIntegerField()
    left_out = models.PositiveIntegerField(
        default=0
    )  # below their level, but not proposed: money, or too soon after a no

    class Meta:
        verbose_name = "reorder run"


class Proposal(models.Model):
    """Order so many of a part for a site. Open until it is ordered, put off, or replaced by the next run."""

    run = models.ForeignKey(ReorderRun, on_delete=models.PROTECT, related_name="proposals")
    part = models.ForeignKey("inventory_parts.Part", on_delete=models.PROTECT, related_name="proposals")
    site = models.ForeignKey("shop_business.Site", on_delete=models.PROTECT, related_name="+")
    supplier = models.ForeignKey(
        "inventory_buying.Supplier", null=True, blank=True, on_delete=models.PROTECT, related_name="proposals"
    )
    quantity = models.DecimalField(**QTY)
    price = models.DecimalField(**PRICE, null=True, blank=True)  # expected, of one unit, in the shop's currency
    rank = models.PositiveIntegerField()  # 1: the most urgent of its run
    reason = models.CharField(max_length=600)  # one sentence
    figures = models.JSONField(default=dict)
    ordered_at = models.DateTimeField(null=True, blank=True)
    ordered_as = models.CharField(max_length=160, blank=True)  # in words: which order, or what was done instead
    put_off_at = models.DateTimeField(null=True, blank=True)
    put_off_until = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    version = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name = "proposal"
        indexes = (
            models.Index(
                fields=("rank", "id"),
                name="reorder_open",
                condition=Q(ordered_at__isnull=True, put_off_at__isnull=True),
            ),
            models.Index(fields=("put_off_until",), name="reorder_put_off", condition=Q(put_off_until__isnull=False)),
        )
        constraints = (
            models.UniqueConstraint(
                fields=("part", "site"), name="reorder_one_open",
                condition=Q(ordered_at__isnull=True, put_off_at__isnull=True),
            ),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="reorder_quantity"),
            models.CheckConstraint(
                condition=Q(ordered_at__isnull=True) | Q(put_off_at__isnull=True), name="reorder_one_answer"
            ),
        )  # fmt: skip

    @property
    def state(self) -> str:
        """open, ordered or put-off."""
        return "ordered" if self.ordered_at else "put-off" if self.put_off_at else "open"

    @property
    def worth(self) -> Decimal | None:
        """About what it costs; None: the price is not known."""
        return None if self.price is None else self.quantity * self.price
