from __future__ import annotations

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import F, Q

PERSON = settings.AUTH_USER_MODEL
MONEY = {"max_digits": 18, "decimal_places": 4}
PRICE = {"max_digits": 18, "decimal_places": 6}
QTY = {"max_digits": 18, "decimal_places": 6}


class LineKind(models.TextChoices):
    LABOUR = "labour", "Labour"
    PART = "part", "Parts"
    SUBLET = "sublet", "Sublet work"
    SUNDRY = "sundry", "Sundries"
    FREIGHT = "freight", "Freight"
    STORAGE = "storage", "Storage"  # of a finished machine that nobody collects
    ENVIRONMENTAL = "environmental", "Environmental charges"
    CORE = "core", "Core deposits"  # paid back when the old part is handed in


class PricedLine(models.Model):
    """What a line of an estimate and of an invoice have in common. Net = quantity x price - discount, rounded once."""

    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=13, choices=LineKind.choices)
    text = models.CharField(max_length=240)
    detail = models.TextField(blank=True)
    quantity = models.DecimalField(**QTY)
    unit = models.CharField(max_length=3)
    unit_price = models.DecimalField(**PRICE)
    discount_percent = models.DecimalField(max_digits=6, decimal_places=3, default=0)
    discount_reason = models.CharField(max_length=120, blank=True)
    tax_code = models.CharField(max_length=20)
    tax_category = models.CharField(max_length=2)
    tax_percent = models.DecimalField(max_digits=6, decimal_places=3)
    net = models.DecimalField(**MONEY)
    cost = models.DecimalField(**MONEY, null=True, blank=True)  # for the margin; owner only
    basis = models.JSONField(default=dict, blank=True, encoder=DjangoJSONEncoder)  # where the figures come from

    class Meta:
        abstract = True


class MoneyDocument(models.Model):
    """What an estimate and an invoice have in common: number, parties as they were, totals by EN 16931."""

    number = models.CharField(max_length=20, blank=True)  # given when issued
    currency = models.CharField(max_length=3)
    language = models.CharField(max_length=8, default="en")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField(null=True, blank=True)
    issued_on = models.DateField(null=True, blank=True)
    issued_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    seller = models.JSONField(default=dict, encoder=DjangoJSONEncoder)  # copied at issue
    buyer = models.JSONField(default=dict, encoder=DjangoJSONEncoder)
    subject = models.JSONField(default=dict, encoder=DjangoJSONEncoder)  # machine and card, as they were
    discount_percent = models.DecimalField(max_digits=6, decimal_places=3, default=0)  # on the whole document
    discount_reason = models.CharField(max_length=120, blank=True)
    tax_groups = models.JSONField(default=list, encoder=DjangoJSONEncoder)  # category, percent, base, tax: strings
    sum_net = models.DecimalField(**MONEY, default=0)  # BT-106
    total_net = models.DecimalField(**MONEY, default=0)  # BT-109
    total_tax = models.DecimalField(**MONEY, default=0)  # BT-110
    total_gross = models.DecimalField(**MONEY, default=0)  # BT-112
    rounding = models.DecimalField(**MONEY, default=0)  # BT-114, added to what is due
    note = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        abstract = True


# issued and the newest word to the customer
OPEN = Q(issued_at__isnull=False, superseded_at__isnull=True, withdrawn_at__isnull=True)
OPEN_LINES = Q(
    estimate__issued_at__isnull=False, estimate__superseded_at__isnull=True, estimate__withdrawn_at__isnull=True
)


class Estimate(MoneyDocument):
    """One revision of a priced proposal. Editable until issued, then frozen; a new revision supersedes it."""

    class Kind(models.TextChoices):
        ESTIMATE = "estimate", "Estimate"
        QUOTATION = "quotation", "Firm quotation"
        ADDITIONAL = "additional", "Additional-work notice"

    kind = models.CharField(max_length=10, choices=Kind.choices, default=Kind.ESTIMATE)
    card = models.ForeignKey("jobs_cards.JobCard", on_delete=models.PROTECT, related_name="estimates")
    revision = models.PositiveSmallIntegerField(default=1)
    valid_until = models.DateField(null=True, blank=True)
    superseded_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    outlook = models.JSONField(default=dict, blank=True)  # likely and careful figures as issued; see outlook.py

    class Meta:
        indexes = (
            models.Index(fields=("card", "-id"), name="estimates_by_card"),
            models.Index(fields=("valid_until", "id"), name="estimates_open", condition=OPEN),
        )
        constraints = (
            models.UniqueConstraint(
                fields=("number", "revision"), condition=~Q(number=""), name="estimates_number_revision"
            ),
        )


class EstimateLine(PricedLine):
    class Pricing(models.TextChoices):
        FIXED = "fixed", "Agreed price"  # invoiced as it stands here
        AS_DONE = "as-done", "By what was done"  # invoiced by hours booked and parts used

    estimate = models.ForeignKey(Estimate, on_delete=models.PROTECT, related_name="lines")
    pricing = models.CharField(max_length=8, choices=Pricing.choices, default=Pricing.AS_DONE)
    stage = models.ForeignKey(
        "jobs_cards.Stage", null=True, blank=True, on_delete=models.PROTECT, related_name="estimate_lines"
    )
    part = models.ForeignKey("inventory_parts.Part", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    optional = models.BooleanField(default=False)
    replaces = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )  # revision before
    # the part's line that this charge goes with: it has its quantity, and the customer's word on it
    accompanies = models.ForeignKey("self", null=True, blank=True, on_delete=models.CASCADE, related_name="charges")

    class Meta:
        ordering = ("position", "id")
        constraints = (
            models.CheckConstraint(
                condition=Q(discount_percent__gte=0, discount_percent__lte=100),
                name="estimates_line_discount",
            ),
        )

    @property
    def version(self) -> int:
        """That of its estimate: a draft is edited as a whole."""
        return self.estimate.version


class GoAhead(models.Model):
    """The customer's recorded yes or no to an issued estimate. Append-only; a later one wins for its lines."""

    class How(models.TextChoices):
        IN_PERSON = "in-person", "In person"
        PHONE = "phone", "By phone"
        LETTER = "letter", "In writing"
        LINK = "link", "By the link sent"
        LIMIT = "limit", "Within the limit agreed before"

    estimate = models.ForeignKey(Estimate, on_delete=models.PROTECT, related_name="go_aheads")
    how = models.CharField(max_length=10, choices=How.choices)
    said_by = models.CharField(max_length=120)  # the customer's person
    said_at = models.DateTimeField()
    recorded_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    document_hash = models.CharField(max_length=64, blank=True)  # SHA-256 of what was shown
    note = models.CharField(max_length=300, blank=True)
    limit_used = models.DecimalField(**MONEY, null=True, blank=True)  # of what may be done without asking, before tax
    limit_of = models.DecimalField(**MONEY, null=True, blank=True)  # how much that was then, on one card

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(how="limit", limit_used__gt=0, limit_of__gte=F("limit_used"))
                | (~Q(how="limit") & Q(limit_used__isnull=True, limit_of__isnull=True)),
                name="estimates_limit_said",
            ),
        )


class GoAheadLine(models.Model):
    go_ahead = models.ForeignKey(GoAhead, on_delete=models.PROTECT, related_name="lines")
    line = models.ForeignKey(EstimateLine, on_delete=models.PROTECT, related_name="answers")
    accepted = models.BooleanField()

    class Meta:
        constraints = (models.UniqueConstraint(fields=("go_ahead", "line"), name="estimates_answer_once"),)
