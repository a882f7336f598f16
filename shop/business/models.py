from __future__ import annotations

from django.db import models


class Business(models.Model):
    """The one business of this database: what stands on its documents and the rules it chose. One row."""

    name = models.CharField(max_length=120)
    legal_name = models.CharField(max_length=160, blank=True)
    street = models.CharField(max_length=160, blank=True)
    postcode = models.CharField(max_length=20, blank=True)
    city = models.CharField(max_length=80, blank=True)
    country = models.CharField(max_length=2, default="IE")  # ISO 3166-1 alpha-2
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    website = models.CharField(max_length=120, blank=True)
    vat_no = models.CharField(max_length=20, blank=True)
    registration = models.CharField(max_length=80, blank=True)
    iban = models.CharField(max_length=34, blank=True)
    bic = models.CharField(max_length=11, blank=True)
    currency = models.CharField(max_length=3, default="EUR")  # ISO 4217
    payment_days = models.PositiveSmallIntegerField(default=14)
    estimate_days = models.PositiveSmallIntegerField(default=30)
    sundries_percent = models.DecimalField(max_digits=6, decimal_places=3, default=0)
    document_note = models.TextField(blank=True)
    is_sample = models.BooleanField(default=False)  # invented data: documents say so
    version = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name = "business profile"
        constraints = (models.CheckConstraint(condition=models.Q(id=1), name="business_is_one"),)

    def __str__(self) -> str:
        return self.name


class MoneyTerms(models.Model):
    """How customers pay and what happens when they don't: one row. All of it is the owner's to set; every figure is an example
    until an adviser has confirmed it, above all against consumers."""

    # so many percent off for paying within so many days; 0: none
    early_percent = models.DecimalField(max_digits=6, decimal_places=3, default=0)
    early_days = models.PositiveSmallIntegerField(default=0)
    cash_step = models.DecimalField(max_digits=18, decimal_places=4, default=0)  # cash is rounded to it; 0: to the cent
    # letters about what is overdue: days after the due day, then after the letter before
    remind_days_1 = models.PositiveSmallIntegerField(default=7)
    remind_days_2 = models.PositiveSmallIntegerField(default=14)
    remind_days_3 = models.PositiveSmallIntegerField(default=14)
    remind_fee_1 = models.DecimalField(max_digits=18, decimal_places=4, default=0)
    remind_fee_2 = models.DecimalField(max_digits=18, decimal_places=4, default=0)
    remind_fee_3 = models.DecimalField(max_digits=18, decimal_places=4, default=0)
    remind_pay_days = models.PositiveSmallIntegerField(default=10)  # a letter asks for payment within
    interest_percent = models.DecimalField(max_digits=6, decimal_places=3, default=0)  # a year
    interest_from = models.PositiveSmallIntegerField(default=2)  # the level of letter that first asks for it
    # a machine that isn't collected: net per day, after so many days free; 0: none
    storage_per_day = models.DecimalField(max_digits=18, decimal_places=4, default=0)
    storage_free_days = models.PositiveSmallIntegerField(default=14)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name = "payment terms"
        constraints = (models.CheckConstraint(condition=models.Q(id=1), name="business_terms_are_one"),)

    @property
    def interest_rates(self) -> models.QuerySet[InterestRate]:
        """Every percentage of interest that was set, the newest first."""
        return InterestRate.objects.order_by("-id")


class InterestRate(models.Model):
    """From which day a percentage a year is asked for on what is overdue. Append-only: a later row replaces all before it from
    its day on, so what was asked for up to then can always be counted again."""

    percent = models.DecimalField(max_digits=6, decimal_places=3)
    since = models.DateField(null=True, blank=True)  # none: from the beginning
    at = models.DateTimeField()

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(condition=models.Q(percent__gte=0, percent__lte=100), name="business_interest"),
        )


class Site(models.Model):
    name = models.CharField(max_length=80)
    code = models.CharField(max_length=12, unique=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return self.name


class WorkingHours(models.Model):
    """When the shop works on a weekday; a break inside is not worked."""

    weekday = models.PositiveSmallIntegerField(unique=True)  # ISO: Monday 1 ... Sunday 7
    starts = models.TimeField()
    ends = models.TimeField()
    break_starts = models.TimeField(null=True, blank=True)
    break_ends = models.TimeField(null=True, blank=True)

    class Meta:
        ordering = ("weekday",)
        constraints = (
            models.CheckConstraint(condition=models.Q(weekday__gte=1, weekday__lte=7), name="business_weekday"),
            models.CheckConstraint(condition=models.Q(ends__gt=models.F("starts")), name="business_hours_order"),
        )


class ClosedDay(models.Model):
    day = models.DateField(unique=True)
    reason = models.CharField(max_length=120)

    class Meta:
        ordering = ("day",)


class TaxRate(models.Model):
    """A VAT rate by EN 16931 category (S standard, Z zero, E exempt, AE reverse charge, K intra-community supply, G
    export, O outside). One code has one row at a time; a new percentage is a new row from its day on. Rates are examples
    until an adviser confirms them."""

    code = models.CharField(max_length=20)
    name = models.CharField(max_length=80)
    category = models.CharField(max_length=2, default="S")
    percent = models.DecimalField(max_digits=6, decimal_places=3)
    reason = models.CharField(max_length=200, blank=True)  # why no VAT: Art. 226 (11), (11a); BT-120
    reasons = models.JSONField(default=dict, blank=True)  # the same by document language, where it has words of its own
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)
    is_default = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name = "tax rate"
        ordering = ("code", "valid_from", "id")
        constraints = (
            models.CheckConstraint(
                condition=models.Q(valid_to__isnull=True) | models.Q(valid_to__gte=models.F("valid_from")),
                name="business_tax_order",
            ),
            models.UniqueConstraint(fields=("code", "valid_from"), name="business_tax_code_from"),
            models.CheckConstraint(condition=models.Q(percent__gte=0, percent__lte=100), name="business_tax_percent"),
        )

    def reason_in(self, language: str) -> str:
        """Why no VAT is charged, in the language of a document; the usual words where it has none of its own."""
        return self.reasons.get(language) or self.reason


class LabourRate(models.Model):
    """What an hour is sold at from a day on, by kind of stage and labour class (blank: any other)."""

    stage_kind = models.CharField(max_length=12, blank=True)
    labour_class = models.CharField(max_length=40, blank=True)
    per_hour = models.DecimalField(max_digits=12, decimal_places=4)
    # of a stage that is worked on at all, at least so many hours are billed; 0: what it takes
    minimum_hours = models.DecimalField(max_digits=6, decimal_places=2, default=0)
    valid_from = models.DateField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name = "labour rate"
        ordering = ("stage_kind", "labour_class", "valid_from", "id")
        constraints = (
            models.UniqueConstraint(
                fields=("stage_kind", "labour_class", "valid_from"), name="business_labour_rate_from"
            ),
            models.CheckConstraint(condition=models.Q(per_hour__gte=0), name="business_rate_not_negative"),
            models.CheckConstraint(condition=models.Q(minimum_hours__gte=0), name="business_rate_minimum"),
        )
