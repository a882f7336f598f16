"""Writes of the business room. The owner's; rates are examples until an adviser has confirmed them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Q

from shop.documents.formatting import languages
from shop.kernel import clock
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.text import clean_line
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from .letterhead import check_profile
from .models import Business, ClosedDay, InterestRate, LabourRate, MoneyTerms, Site, TaxRate, WorkingHours
from .rates import STAGE_KINDS, check_tax, overlap
from .terms import check_terms
from .working import USUAL

INTEREST_REACH = 3653  # days back or ahead

# --- profile and sites ---------------------------------------------------------------------------


@writes
def edit_profile(expect: int | None, *, by: Person, **values: Any) -> Business:
    """Change what stands on documents. Raises Stale, BadInput for an impossible IBAN, VAT number, country or
    currency. The currency can't change once set: amounts already on documents would read as another money."""
    take_turn()
    business = claim(Business, 1, expect)
    books_in = business.currency if business.version else ""
    values = check_profile(values, country=business.country, books_in=books_in)
    before = {name: getattr(business, name) for name in values}
    save_next(business, **values)
    record(by, "business.changed", business, changed=changes(before, values))
    return business


@writes
def edit_money_terms(
    expect: int | None, *, by: Person, interest_since: date | None = None, **values: Any
) -> MoneyTerms:
    """Change discount for early payment, rounding of cash, letters about what is overdue, interest and storage. What is issued
    keeps what it states. A new percentage of interest holds from the day `interest_since`, by default today; the first one
    that is ever set, by default for all that is overdue. Raises Stale, BadInput."""
    MoneyTerms.objects.bulk_create([MoneyTerms(pk=1, version=0)], ignore_conflicts=True)
    terms = claim(MoneyTerms, 1, expect)
    books = Business.objects.filter(pk=1).values_list("currency", flat=True).first() or Business().currency
    values = check_terms(values, vars(terms), books)
    before = {name: getattr(terms, name) for name in values}
    save_next(terms, **values)
    _date_interest(terms, before.get("interest_percent", terms.interest_percent), interest_since)
    record(
        by, "business.terms-changed", terms, changed=changes(before, values),
        interest_since=interest_since.isoformat() if interest_since else None,
    )  # fmt: skip
    return terms


def _date_interest(terms: MoneyTerms, before: Decimal, since: date | None) -> None:
    """Keep from which day the percentage holds, when it is another one or a day is given for it. The terms are locked."""
    today, dated = clock.today(), InterestRate.objects.exists()
    if since is not None and abs((since - today).days) > INTEREST_REACH:
        raise field_error("interest_since", "This lies more than ten years away. Check the year.", code="too-far")
    if since is None and (terms.interest_percent == before if dated else not terms.interest_percent):
        return
    InterestRate.objects.create(
        percent=terms.interest_percent, since=since or (today if dated else None), at=clock.now()
    )  # fmt: skip


def take_turn() -> None:
    """One at a time where rows must fit together (spans of days, the one default, the last site): lock the business."""
    Business.objects.bulk_create([Business(pk=1, name="Our workshop", version=0)], ignore_conflicts=True)
    Business.objects.select_for_update().get(pk=1)


@writes
def open_site(*, code: str, name: str, by: Person | None) -> Site:
    """Add a site. Raises BadInput for a code that is taken."""
    code, name = (_line(value, field, length) for field, value, length in (("code", code, 12), ("name", name, 80)))
    if Site.objects.filter(code__iexact=code).exists():
        raise field_error("code", f"There is already a site “{code}”. Choose another code.")
    site = Site.objects.create(code=code, name=name)
    record(by, "site.added", site, code=code, name=name)
    return site


@writes
def open_first_site() -> Site:
    """The site every shop has, made when first needed."""
    take_turn()
    found = Site.objects.filter(archived_at__isnull=True).first()
    return found or open_site(code="MAIN", name="Main workshop", by=None)


@writes
def edit_site(pk: int, expect: int | None, *, by: Person, **values: Any) -> Site:
    """Rename a site. Raises NotFound, Stale, BadInput."""
    site = claim(Site, pk, expect)
    values = {field: _line(value, field, {"code": 12, "name": 80}[field]) for field, value in values.items()}
    if "code" in values and Site.objects.filter(code__iexact=values["code"]).exclude(pk=pk).exists():
        raise field_error("code", f"There is already a site “{values['code']}”. Choose another code.")
    before = {name: getattr(site, name) for name in values}
    save_next(site, **values)
    record(by, "site.changed", site, changed=changes(before, values))
    return site


@writes
def archive_site(pk: int, expect: int | None, *, by: Person) -> Site:
    """Put a site away. Raises Refused for the last one."""
    take_turn()
    site = claim(Site, pk, expect, archived_at__isnull=True)
    if not Site.objects.filter(archived_at__isnull=True).exclude(pk=pk).exists():
        raise Refused("This is the last site. Add the new one first.")
    save_next(site, archived_at=clock.now())
    record(by, "site.archived", site)
    return site


# --- working time --------------------------------------------------------------------------------


@writes
def set_hours(
    *, weekday: int, starts: time, ends: time, break_starts: time | None = None, break_ends: time | None = None,
    by: Person,
) -> WorkingHours:  # fmt: skip
    """The working hours of a weekday (Monday 1 ... Sunday 7); the first time the rest of the usual week is kept with it.
    Raises BadInput for times out of order."""
    if not 1 <= weekday <= 7:
        raise field_error("weekday", "Use 1 for Monday to 7 for Sunday.")
    if ends <= starts:
        raise field_error("ends", "The end must lie after the start.")
    if (break_starts is None) != (break_ends is None):
        raise field_error("break_ends", "Give both ends of the break, or none.")
    if break_starts and break_ends and not starts <= break_starts < break_ends <= ends:
        raise field_error("break_starts", "The break must lie inside the working hours, its end after its start.")
    values = {"starts": starts, "ends": ends, "break_starts": break_starts, "break_ends": break_ends}
    take_turn()
    if not WorkingHours.objects.exists():
        WorkingHours.objects.bulk_create(WorkingHours(weekday=day, **asdict(usual)) for day, usual in USUAL.items())
    hours, _ = WorkingHours.objects.update_or_create(weekday=weekday, defaults=values)
    told: dict[str, Any] = {k: v and v.isoformat("minutes") for k, v in values.items()}
    record(by, "hours.set", hours, weekday=weekday, **told)
    return hours


@writes
def close_weekday(pk: int, *, by: Person) -> None:
    """The shop does not work on the weekday of these hours. Raises NotFound; Refused for the last one."""
    take_turn()
    hours = WorkingHours.objects.filter(pk=pk).first()
    if hours is None:
        raise NotFound("The shop has no hours on this weekday.")
    if not WorkingHours.objects.exclude(pk=pk).exists():
        raise Refused("At least one weekday needs working hours. Set another one first.")
    record(by, "hours.closed", hours, weekday=hours.weekday)
    hours.delete()


@writes
def close_day(*, day: date, reason: str, by: Person) -> ClosedDay:
    """A day the shop is closed. Raises BadInput when it is one already."""
    reason = _line(reason, "reason", 120)
    if ClosedDay.objects.filter(day=day).exists():
        raise field_error("day", "The shop is already closed on this day.")
    closed = ClosedDay.objects.create(day=day, reason=reason)
    record(by, "day.closed", closed, day=day.isoformat(), reason=reason)
    return closed


@writes
def open_day(pk: int, *, by: Person) -> None:
    """Take a closed day back. Raises NotFound."""
    closed = ClosedDay.objects.filter(pk=pk).first()
    if closed is None:
        raise NotFound("There is no such closed day.")
    record(by, "day.opened", closed, day=closed.day.isoformat(), reason=closed.reason)
    closed.delete()


# --- tax rates -----------------------------------------------------------------------------------


@writes
def add_tax_rate(
    *, code: str, name: str, percent: Decimal, valid_from: date, category: str = "S", reason: str = "",
    reasons: Mapping[str, str] | None = None, valid_to: date | None = None, is_default: bool = False, by: Person | None,
) -> TaxRate:  # fmt: skip
    """Add a rate under a code. `reasons`: why no VAT is charged, by document language, where `reason` doesn't do. Raises
    BadInput when its days overlap another row of the code, or category, percentage and reason don't go together."""
    code, name = _line(code, "code", 20), _line(name, "name", 80)
    reason = clean_line(reason, field="reason", max_length=200)
    check_tax(category, percent, reason)
    own = _reasons(reasons or {}, reason)
    if valid_to is not None and valid_to < valid_from:
        raise field_error("valid_to", "The last day lies before the first.")
    take_turn()
    rows = list(TaxRate.objects.filter(code=code))
    if overlap(((r.valid_from, r.valid_to) for r in rows), valid_from, valid_to):
        raise field_error(
            "valid_from",
            f"“{code}” already has a rate on these days. To change it from a day on, use “Change”.",
        )
    rate = TaxRate.objects.create(
        code=code, name=name, percent=percent, category=category, reason=reason, reasons=own,
        valid_from=valid_from, valid_to=valid_to, is_default=any(r.is_default for r in rows),
    )  # fmt: skip
    record(by, "tax-rate.added", rate, code=code, percent=percent, category=category, valid_from=valid_from)
    if is_default and not rate.is_default:
        make_default_tax(rate.pk, None, by=by)
        rate.refresh_from_db()
    return rate


@writes
def change_tax_rate(pk: int, expect: int | None, *, percent: Decimal, valid_from: date, by: Person) -> TaxRate:
    """A new percentage from a day on: the row ends the day before, a new one begins. Documents already issued keep what
    they state. Raises NotFound, Stale, BadInput for a day not after the row's first, Refused when the row has ended."""
    take_turn()
    old = claim(TaxRate, pk, expect)
    if old.valid_to is not None:
        raise Refused(f"“{old.code}” ends on {old.valid_to.isoformat()}. Add a new rate instead.")
    check_tax(old.category, percent, old.reason)
    if valid_from <= old.valid_from:
        raise field_error("valid_from", f"The change must come after {old.valid_from.isoformat()}.")
    save_next(old, valid_to=valid_from - timedelta(days=1))
    new = TaxRate.objects.create(
        code=old.code, name=old.name, category=old.category, reason=old.reason, reasons=old.reasons, percent=percent,
        valid_from=valid_from, is_default=old.is_default,
    )  # fmt: skip
    record(by, "tax-rate.changed", new, code=old.code, percent=[old.percent, percent], valid_from=valid_from)
    return new


@writes
def edit_tax_rate(pk: int, expect: int | None, *, by: Person, **values: Any) -> TaxRate:
    """Change name, reason or `reasons` (by document language; all of them are given). Raises NotFound, Stale, BadInput."""
    rate = claim(TaxRate, pk, expect)
    if "name" in values:
        values["name"] = _line(values["name"], "name", 80)
    if "reason" in values:
        values["reason"] = clean_line(values["reason"], field="reason", max_length=200)
    reason = values.get("reason", rate.reason)
    check_tax(rate.category, rate.percent, reason)
    values["reasons"] = _reasons(values.get("reasons", rate.reasons if reason else {}), reason)
    before = {name: getattr(rate, name) for name in values}
    save_next(rate, **values)
    record(by, "tax-rate.edited", rate, changed=changes(before, values))
    return rate


def _reasons(given: Mapping[str, str], reason: str) -> dict[str, str]:
    """The words by document language, without the empty ones."""
    found = {code: clean_line(text, field="reasons", max_length=200) for code, text in given.items()}
    if unknown := sorted(found.keys() - set(languages())):
        raise field_error("reasons", f"Documents have no language “{unknown[0]}”; they have {', '.join(languages())}.")
    kept = {code: text for code, text in found.items() if text}
    if kept and not reason:
        raise field_error("reasons", "Give the usual words first; those of one language stand beside them.")
    return kept


@writes
def end_tax_rate(pk: int, expect: int | None, *, valid_to: date, by: Person) -> TaxRate:
    """The rate holds until and including a day. Raises Refused for the default one, which every document needs."""
    take_turn()
    rate = claim(TaxRate, pk, expect)
    if valid_to < rate.valid_from:
        raise field_error("valid_to", f"The rate begins on {rate.valid_from.isoformat()}; it can't end before.")
    if rate.is_default:
        raise Refused("This is the default rate. Make another one the default first.")
    if TaxRate.objects.filter(code=rate.code, valid_from__gt=rate.valid_from, valid_from__lte=valid_to).exists():
        raise field_error("valid_to", f"“{rate.code}” has a later rate that begins before this day.")
    before = rate.valid_to
    save_next(rate, valid_to=valid_to)
    record(by, "tax-rate.ended", rate, valid_to=[before, valid_to])
    return rate


@writes
def make_default_tax(pk: int, expect: int | None, *, by: Person | None) -> TaxRate:
    """This rate's code is what a line gets when nobody says otherwise. Raises Refused for one that has an end."""
    take_turn()
    rate = claim(TaxRate, pk, expect)
    if rate.valid_to is not None:
        raise Refused(f"“{rate.code}” ends on {rate.valid_to.isoformat()} and can't be the default.")
    TaxRate.objects.filter(Q(is_default=True), ~Q(code=rate.code)).update(is_default=False)
    TaxRate.objects.filter(code=rate.code).exclude(pk=pk).update(is_default=True)
    save_next(rate, is_default=True)
    record(by, "tax-rate.default", rate, code=rate.code)
    return rate


# --- labour rates --------------------------------------------------------------------------------

NO_MINIMUM = Decimal(0)


@writes
def add_labour_rate(
    *, per_hour: Decimal, valid_from: date, stage_kind: str = "", labour_class: str = "",
    minimum_hours: Decimal = NO_MINIMUM, by: Person | None,
) -> LabourRate:  # fmt: skip
    """What an hour is sold at from a day on; it takes the place of an older one of the same kind and class. Of a stage that is
    worked on at all, at least `minimum_hours` are billed. Raises BadInput."""
    if stage_kind and stage_kind not in STAGE_KINDS:
        raise field_error("stage_kind", f"Use one of {', '.join(STAGE_KINDS)}, or leave it empty for all.")
    labour_class = clean_line(labour_class, field="labour_class", max_length=40)
    _check_per_hour(per_hour)
    _check_minimum(minimum_hours)
    if LabourRate.objects.filter(stage_kind=stage_kind, labour_class=labour_class, valid_from=valid_from).exists():
        raise field_error(
            "valid_from", "There is already such a rate from this day. Change that one, or take another day."
        )
    rate = LabourRate.objects.create(
        stage_kind=stage_kind, labour_class=labour_class, per_hour=per_hour, valid_from=valid_from,
        minimum_hours=minimum_hours,
    )  # fmt: skip
    record(
        by, "labour-rate.added", rate, per_hour=per_hour, valid_from=valid_from, stage_kind=stage_kind,
        minimum_hours=minimum_hours,
    )  # fmt: skip
    return rate


@writes
def edit_labour_rate(
    pk: int, expect: int | None, *, per_hour: Decimal | None = None, minimum_hours: Decimal | None = None, by: Person
) -> LabourRate:
    """Put a rate right; None leaves a figure as it is. What was priced with it keeps its price. Raises NotFound, Stale, BadInput."""
    rate = claim(LabourRate, pk, expect)
    price = rate.per_hour if per_hour is None else per_hour
    minimum = rate.minimum_hours if minimum_hours is None else minimum_hours
    _check_per_hour(price)
    _check_minimum(minimum)
    told: dict[str, Any] = {"per_hour": [rate.per_hour, price]}
    if minimum != rate.minimum_hours:
        told["minimum_hours"] = [rate.minimum_hours, minimum]
    save_next(rate, per_hour=price, minimum_hours=minimum)
    record(by, "labour-rate.changed", rate, **told)
    return rate


@writes
def remove_labour_rate(pk: int, expect: int | None, *, by: Person) -> None:
    """Take away a rate that is not in force yet. Raises Refused for one that is."""
    rate = claim(LabourRate, pk, expect)
    if rate.valid_from <= clock.today():
        raise Refused("This rate has been in force. Add a new one from a later day instead.")
    record(by, "labour-rate.removed", rate, per_hour=rate.per_hour, valid_from=rate.valid_from)
    rate.delete()


def _check_per_hour(value: Decimal) -> None:
    if not (value.is_finite() and 0 <= value <= 99_999 and value == round(value, 4)):
        raise field_error("per_hour", "Give a rate from 0 to 99 999, with at most four decimals.")


def _check_minimum(value: Decimal) -> None:
    if not (value.is_finite() and 0 <= value <= 24 and value == round(value, 2)):
        raise field_error("minimum_hours", "Give 0 to 24 hours, with at most two decimals.")


def _line(value: str, field: str, length: int) -> str:
    return clean_line(value, field=field, required=True, max_length=length)
