from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from jobs.estimates.models import MONEY, QTY, EstimateLine, MoneyDocument, PricedLine

PERSON = settings.AUTH_USER_MODEL


# something is still owed on it
OPEN = Q(issued_at__isnull=False, settled_at__isnull=True) & ~Q(kind="credit")


class Invoice(MoneyDocument):
    """An invoice, deposit invoice, credit note or debit note. A draft until issued; then a trigger refuses every change. A
    credit note carries positive amounts and names what it credits; a debit note charges again what a credit note gave off
    for early payment, when that payment was reversed."""

    class Kind(models.TextChoices):
        INVOICE = "invoice", "Invoice"
        DEPOSIT = "deposit", "Deposit invoice"
        CREDIT = "credit", "Credit note"
        DEBIT = "debit", "Debit note"

    kind = models.CharField(max_length=8, choices=Kind.choices, default=Kind.INVOICE)
    card = models.ForeignKey(
        "jobs_cards.JobCard", null=True, blank=True, on_delete=models.PROTECT, related_name="invoices"
    )
    customer = models.ForeignKey("jobs_machines.Customer", on_delete=models.PROTECT, related_name="invoices")
    credits = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="credit_notes")
    # of a debit note: the credit note whose discount it charges again
    counters = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="countered_by"
    )
    reason = models.CharField(max_length=200, blank=True)  # of a credit or debit note
    supplied_on = models.DateField(null=True, blank=True)  # Art. 226 (7)
    due_on = models.DateField(null=True, blank=True)
    # So much percent off when paid by this day. On a credit note: it gives that discount.
    early_percent = models.DecimalField(max_digits=6, decimal_places=3, default=0)
    early_until = models.DateField(null=True, blank=True)
    # When nothing is owed on it any more. Kept beside the allocations, which are the truth; the one field of an issued
    # invoice that moves.
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = (
            models.Index(fields=("customer", "-id"), name="invoices_by_customer"),
            models.Index(fields=("due_on", "id"), name="invoices_open", condition=OPEN),
            models.Index(fields=("issued_on", "id"), name="invoices_by_day", condition=Q(issued_at__isnull=False)),
        )
        constraints = (
            models.UniqueConstraint(fields=("number",), condition=~Q(number=""), name="invoices_number_once"),
            models.CheckConstraint(
                condition=(Q(number="") & Q(issued_at__isnull=True)) | (~Q(number="") & Q(issued_at__isnull=False)),
                name="invoices_number_at_issue",
            ),
            models.UniqueConstraint(
                fields=("card", "kind"), condition=Q(issued_at__isnull=True), name="invoices_one_draft"
            ),
        )

    @property
    def payable(self) -> Decimal:
        """The amount it is known by: with tax and rounding."""
        return self.total_gross + self.rounding

    @property
    def states_sums(self) -> bool:
        """Whether its lines are plain sums and no work or goods: a deposit or what takes one back, a discount for early payment
        or what charges it again. They stand under no heading."""
        early = self.kind == self.Kind.CREDIT and self.early_percent > 0
        back = self.credits is not None and self.credits.kind == self.Kind.DEPOSIT
        return self.kind in (self.Kind.DEPOSIT, self.Kind.DEBIT) or early or back


class InvoiceLine(PricedLine):
    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="lines")
    stage = models.ForeignKey("jobs_cards.Stage", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    part = models.ForeignKey("inventory_parts.Part", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    estimate_line = models.ForeignKey(
        "jobs_estimates.EstimateLine",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="invoice_lines",
    )
    # A deposit invoice that this line takes off again: one piece below zero (BR-27 wants no negative price)
    deducts = models.ForeignKey(Invoice, null=True, blank=True, on_delete=models.PROTECT, related_name="deducted_by")
    credits_line = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    # the part's line that this charge goes with: it follows its quantity
    accompanies = models.ForeignKey("self", null=True, blank=True, on_delete=models.CASCADE, related_name="charges")
    pricing = models.CharField(max_length=8, choices=EstimateLine.Pricing.choices, default=EstimateLine.Pricing.AS_DONE)
    not_agreed = models.CharField(max_length=200, blank=True)  # the owner's reason to charge what was never agreed

    class Meta:
        ordering = ("position", "id")
        constraints = (
            models.CheckConstraint(
                condition=Q(discount_percent__gte=0, discount_percent__lte=100), name="invoices_line_discount"
            ),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, deducts__isnull=True) | Q(quantity=-1, deducts__isnull=False),
                name="invoices_line_quantity",
            ),
        )

    @property
    def version(self) -> int:
        """That of its invoice: a draft is edited as a whole."""
        return self.invoice.version


class CoreReturn(models.Model):
    """What became of an old part on which a deposit was charged, or would have been: handed in (before the invoice was made,
    with the card; after, of a line of it), refused, or its deposit kept. Append-only; what was wrong is undone by a new row."""

    class Outcome(models.TextChoices):
        ACCEPTED = "accepted", "Accepted"
        REFUSED = "refused", "Refused"
        KEPT = "kept", "Deposit kept"

    card = models.ForeignKey(
        "jobs_cards.JobCard", null=True, blank=True, on_delete=models.PROTECT, related_name="core_returns"
    )
    part = models.ForeignKey("inventory_parts.Part", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    line = models.ForeignKey(InvoiceLine, null=True, blank=True, on_delete=models.PROTECT, related_name="core_returns")
    quantity = models.DecimalField(**QTY)
    outcome = models.CharField(max_length=8, choices=Outcome.choices)
    condition = models.CharField(max_length=300, blank=True)  # of the old part, in words
    reason = models.CharField(max_length=200, blank=True)  # why it was refused, kept or undone
    credit_note = models.OneToOneField(
        Invoice, null=True, blank=True, on_delete=models.PROTECT, related_name="core_return"
    )
    kept_on = models.DateField(null=True, blank=True)  # the day in the books
    amount = models.DecimalField(**MONEY, null=True, blank=True)  # kept, before tax
    reverses = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="reversal")
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = (models.Index(fields=("kept_on", "id"), name="invoices_core_kept", condition=Q(outcome="kept")),)
        constraints = (
            models.CheckConstraint(
                condition=Q(line__isnull=False, card__isnull=True, part__isnull=True)
                | Q(line__isnull=True, card__isnull=False, part__isnull=False),
                name="invoices_core_of",
            ),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="invoices_core_quantity"),
            models.CheckConstraint(
                condition=Q(outcome="kept", line__isnull=False, kept_on__isnull=False, amount__isnull=False)
                | (~Q(outcome="kept") & Q(kept_on__isnull=True, amount__isnull=True)),
                name="invoices_core_kept_on",
            ),
            models.CheckConstraint(
                condition=Q(credit_note__isnull=True, line__isnull=True)
                | Q(credit_note__isnull=False, line__isnull=False, outcome="accepted")
                | (Q(credit_note__isnull=True, line__isnull=False) & ~Q(outcome="accepted")),
                name="invoices_core_credited",
            ),
        )


class Payment(models.Model):
    """Money that came in (or went back, negative). Append-only; a wrong one is reversed by a new row."""

    class Method(models.TextChoices):
        TRANSFER = "transfer", "Bank transfer"
        CARD = "card", "Card"
        CASH = "cash", "Cash"
        OTHER = "other", "Other"
        ROUNDING = "rounding", "Rounding of cash"  # made with a payment in cash, never given by hand

    BY_HAND = [(m.value, m.label) for m in Method if m.value != "rounding"]

    customer = models.ForeignKey("jobs_machines.Customer", on_delete=models.PROTECT, related_name="payments")
    amount = models.DecimalField(**MONEY)
    currency = models.CharField(max_length=3)
    method = models.CharField(max_length=10, choices=Method.choices)
    received_on = models.DateField()
    reference = models.CharField(max_length=120, blank=True)
    reverses = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="reversal")
    # What cash was rounded by: paid less (above zero, given up) or more (below zero, kept) than was owed
    rounds = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="rounding")
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = (models.Index(fields=("received_on", "id"), name="invoices_payment_by_day"),)
        constraints = (models.CheckConstraint(condition=~Q(amount=0), name="invoices_payment_not_zero"),)


class Allocation(models.Model):
    """How much of a payment, or of a credit note, settles an invoice. Append-only."""

    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="allocations")
    payment = models.ForeignKey(Payment, null=True, blank=True, on_delete=models.PROTECT, related_name="allocations")
    credit_note = models.ForeignKey(Invoice, null=True, blank=True, on_delete=models.PROTECT, related_name="settles")
    amount = models.DecimalField(**MONEY)
    at = models.DateTimeField()

    class Meta:
        indexes = (models.Index(fields=("at", "id"), name="invoices_allocation_at"),)
        constraints = (
            models.CheckConstraint(
                condition=Q(payment__isnull=False, credit_note__isnull=True)
                | Q(payment__isnull=True, credit_note__isnull=False),
                name="invoices_allocation_source",
            ),
            models.CheckConstraint(condition=~Q(amount=0), name="invoices_allocation_not_zero"),
        )


class StandingCredit(models.Model):
    """What was paid or credited and settles nothing yet, of a customer for whom that is not nothing. Kept beside payments,
    credit notes and allocations, which are the truth, so that whoever lists credits needn't add years up;
    `manage.py check_invoices` adds them up again. Written under the lock of the customer."""

    customer = models.OneToOneField(
        "jobs_machines.Customer", primary_key=True, on_delete=models.PROTECT, related_name="standing_credit"
    )
    amount = models.DecimalField(**MONEY)

    class Meta:
        constraints = (models.CheckConstraint(condition=~Q(amount=0), name="invoices_credit_not_zero"),)
