"""What other rooms ask of the business."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from django.db.models import Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from shop.kernel import clock
from shop.kernel.errors import Refused

from . import actions
from .models import Business, ClosedDay, InterestRate, LabourRate, MoneyTerms, Site, TaxRate, WorkingHours
from .rates import LabourPrice, LabourRates
from .working import USUAL, Calendar, Hours


def profile() -> Business:
    """The business of this database. Before the owner has filled it in: its defaults, unsaved (version 0)."""
    return Business.objects.filter(pk=1).first() or Business(pk=1, name="Our workshop", version=0)


def currency() -> Coalesce:
    """The currency of the profile, to stand beside rows in the query that reads them."""
    own = Business.objects.filter(pk=1).values("currency")
    return Coalesce(Subquery(own), Value(Business().currency))


def money_terms() -> MoneyTerms:
    """How customers pay. Before the owner has set it: the defaults, unsaved (version 0), which ask for nothing."""
    return MoneyTerms.objects.filter(pk=1).first() or MoneyTerms(pk=1, version=0)


def interest_rates(known_at: datetime | None = None) -> list[tuple[date | None, Decimal]]:
    """From which day (None: the beginning) which percentage a year is asked for on what is overdue, in the order they were set:
    a later one replaces all before it from its day on. `known_at`: only those set by then."""
    rows = InterestRate.objects.all()
    return list((rows if known_at is None else rows.filter(at__lte=known_at)).values_list("since", "percent"))


def interest_dated_since() -> datetime | None:
    """When percentages began to have a day; before it there was but the one of the day. None: no percentage was ever set."""
    return InterestRate.objects.values_list("at", flat=True).first()


def interest_on(day: date) -> Decimal:
    """The percentage a year that holds on a day; 0: none."""
    row = InterestRate.objects.filter(Q(since__isnull=True) | Q(since__lte=day)).last()
    return row.percent if row else Decimal(0)


def default_site() -> Site:
    """The oldest site in use; made ("Main") when there is none yet."""
    return sites().first() or actions.open_first_site()


def sites(*, archived: bool = False) -> QuerySet[Site]:
    return Site.objects.filter(archived_at__isnull=not archived)


def site(pk: int) -> Site | None:
    return Site.objects.filter(pk=pk).first()


def tax_rate(code: str = "", on: date | None = None) -> TaxRate:
    """The rate called `code` ("": the default one) on a day (None: today). Raises Refused (code "no-tax-rate")."""
    day = on or clock.today()
    wanted = tax_rates(on=day)
    found = (wanted.filter(code=code) if code else wanted.filter(is_default=True)).first()
    if found is None:
        called = f"VAT rate “{code}”" if code else "default VAT rate"
        raise Refused(
            f"There is no {called} on {day.isoformat()}. The owner adds one under Business, VAT rates.",
            code="no-tax-rate",
        )
    return found


def tax_rates(*, on: date | None = None, code: str = "") -> QuerySet[TaxRate]:
    """All rates, or those in force on a day; of one code if given."""
    found = TaxRate.objects.all()
    if on is not None:
        found = found.filter(Q(valid_to__isnull=True) | Q(valid_to__gte=on), valid_from__lte=on)
    return found.filter(code=code) if code else found


def labour_rates() -> LabourRates:
    """All labour rates as plain values, in one query; see `rates.LabourRates.on`."""
    rows = LabourRate.objects.all()
    return LabourRates(
        tuple(LabourPrice(r.stage_kind, r.labour_class, r.valid_from, r.per_hour, r.minimum_hours) for r in rows)
    )


def labour_rate(stage_kind: str, labour_class: str = "", on: date | None = None) -> Decimal:
    """What an hour is sold at, in the currency of the business. Raises Refused (code "no-labour-rate")."""
    return labour_rates().on(on or clock.today(), stage_kind, labour_class)


def calendar() -> Calendar:
    """Working hours and closed days as plain values."""
    week = {h.weekday: Hours(h.starts, h.ends, h.break_starts, h.break_ends) for h in WorkingHours.objects.all()}
    return Calendar(week or USUAL, dict(ClosedDay.objects.values_list("day", "reason")))


def working_hours() -> QuerySet[WorkingHours]:
    """The hours the owner set, Monday first; none: see `calendar`."""
    return WorkingHours.objects.all()


def closed_days() -> QuerySet[ClosedDay]:
    """Closed days from today on, the next first."""
    return ClosedDay.objects.filter(day__gte=clock.today())


def labour_rows() -> QuerySet[LabourRate]:
    """Labour rates as they are kept, by kind and class, the earliest first."""
    return LabourRate.objects.all()
