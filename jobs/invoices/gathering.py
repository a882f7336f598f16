"""What of a card can be billed, read from the other rooms, decided by `billing`, and made into lines."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from inventory.parts.models import Part
from jobs.cards.models import JobCard, Stage
from jobs.draws import queries as draws
from jobs.estimates import charging, pricing
from jobs.estimates import queries as estimates
from jobs.estimates.gathering import Prices
from jobs.estimates.models import EstimateLine, LineKind
from jobs.estimates.pricing import Item
from jobs.estimates.queries import Agreed
from jobs.sublet import queries as sublet
from jobs.sublet.shares import shared
from jobs.timebook import queries as timebook
from shop.kernel.decimals import plain
from shop.kernel.rounding import round_to
from shop.kernel.totals import Vat
from shop.ui.formats import qty

from . import billing, cores, queries
from .billing import AgreedLine, Bill, Result, StageFacts
from .models import Invoice, InvoiceLine

ZERO = Decimal(0)


@dataclass
class Job:
    """A card as the bill sees it."""

    result: Result
    agreed: dict[int, Agreed]
    stages: dict[int, Stage]
    parts: dict[int, Part]
    hour_costs: dict[int, Decimal]  # average cost of an hour, by stage
    class_hours: dict[int, dict[str, Decimal]]  # booked, by stage and by the class that a person then had
    part_costs: dict[tuple[int, int], Decimal]  # of one unit
    sent_out: dict[int, Decimal]  # what outside firms charged for it, by the line that was agreed for its stage
    at_price: dict[int, Decimal]  # what hours and parts at an agreed price cost, by the line that was agreed
    before: queries.Billed
    cores_in: dict[int, Decimal]  # old parts handed in that no invoice or draft counted yet, by part

    def unit(self, left: billing.LeftOut) -> str:
        """What the quantity of something left out is counted in."""
        if left.line is not None:
            return self.agreed[left.line].line.unit
        return self.parts[left.part].unit if left.part is not None else "HUR"

    def is_charged(self, left: billing.LeftOut, lines: Iterable[InvoiceLine]) -> bool:
        """Whether an owner put it onto a draft with these lines all the same."""
        if left.reason == billing.NO_STAGE and left.line is not None:
            family = self.agreed[left.line].family
            return any(x.estimate_line_id in family for x in lines)
        if left.reason != billing.UNAGREED:
            return False
        return any(
            x.not_agreed and (x.kind, x.stage_id, x.part_id) == (left.kind, left.stage, left.part) for x in lines
        )


def job(card: JobCard) -> Job:
    """Read the card; see `billing.bill` for what comes of it."""
    stages = {s.pk: s for s in Stage.objects.filter(card=card).select_related("mechanic")}
    booked, hour_costs, class_hours = _hours(stages.values())
    used = draws.used(card.pk)
    agreed = estimates.agreed_on_card(card.pk)
    before = queries.billed(card.pk)
    rates = Prices()
    on_estimates = {a.line.stage_id for a in agreed if a.line.stage_id}
    facts = {
        s.pk: StageFacts(
            id=s.pk,
            name=s.name,
            begun=s.started_at is not None,
            chargeable=s.chargeable,
            free=(not s.needs_go_ahead and s.declined_at is None)
            or (s.go_ahead_at is not None and s.pk not in on_estimates),
            minimum=rates.rate(s.kind, s.done_by).minimum,
        )
        for s in stages.values()
    }
    parts = Part.objects.in_bulk({row["part_id"] for row in used})
    result = billing.bill(
        [_agreed_line(a, before) for a in agreed],
        facts,
        booked,
        {(row["stage_id"], row["part_id"]): row["quantity"] for row in used},
        before.hours,
        before.parts,
        {pk: f"{p.number} {p.name}" for pk, p in parts.items()},
    )
    unit_costs = {
        (row["stage_id"], row["part_id"]): row["cost"] / row["quantity"] for row in used if row["quantity"] > 0
    }
    return Job(
        result,
        {a.line.pk: a for a in agreed},
        stages,
        parts,
        hour_costs,
        class_hours,
        unit_costs,
        _sent_out(card.pk, agreed, rates.profile.currency),
        _at_price(agreed, hour_costs, class_hours, used, rates.profile.currency),
        before,
        cores.free(card.pk),
    )


def _sent_out(card_id: int, agreed: Iterable[Agreed], currency: str) -> dict[int, Decimal]:
    """Net of the bills that stand for each stage, over the sublet lines agreed for it."""
    charged = sublet.charged(card_id)
    nets: dict[int, dict[int, Decimal]] = {}
    for a in agreed:
        at = a.at_price
        if at is not None and at.kind == LineKind.SUBLET and at.stage_id in charged:
            nets.setdefault(at.stage_id, {})[a.line.pk] = at.net
    return {pk: part for stage, its in nets.items() for pk, part in shared(charged[stage], currency, its).items()}


ByClass = dict[int, dict[str, Decimal]]


def _at_price(
    agreed: Iterable[Agreed],
    hour_costs: Mapping[int, Decimal],
    class_hours: ByClass,
    used: Iterable[Mapping[str, Any]],
    currency: str,
) -> dict[int, Decimal]:
    """What lines at an agreed price cost: all hours of their stage, or all that was drawn there of their part, over them. They
    cost nothing where another line bills the same by what was done."""
    whole: dict[tuple[int, int | None], Decimal] = {
        (stage, None): sum(class_hours[stage].values(), ZERO) * cost for stage, cost in hour_costs.items()
    }
    whole |= {(row["stage_id"], row["part_id"]): row["cost"] for row in used}
    nets: dict[tuple[int, int | None], dict[int, Decimal]] = {}
    by_done = set()
    for a in agreed:
        at = a.at_price
        if at is None or at.stage_id is None or at.kind not in (pricing.LABOUR, pricing.PART):
            continue
        key = (at.stage_id, at.part_id if at.kind == pricing.PART else None)
        if _pricing(a, at) == pricing.FIXED:
            nets.setdefault(key, {})[a.line.pk] = at.net
        else:
            by_done.add(key)
    return {
        pk: cost
        for key, its in nets.items()
        if key in whole
        for pk, cost in shared(ZERO if key in by_done else whole[key], currency, its).items()
    }


def _hours(stages: Iterable[Stage]) -> tuple[dict[int, Decimal], dict[int, Decimal], ByClass]:
    booked, costs = {}, {}
    listed = list(stages)
    for pk, row in timebook.hours_by_stage(listed).items():
        booked[pk] = round_to(row.booked, pricing.HOUR_DECIMALS)
    known: dict[int, list[tuple[Decimal, Decimal]]] = {}
    classes: ByClass = {}
    if listed:
        for b in timebook.bookings(card_id=listed[0].card_id, running=False):
            worked = timebook.worked(b)
            own = classes.setdefault(b.stage_id, {})
            own[b.labour_class] = own.get(b.labour_class, ZERO) + worked
            if b.cost_per_hour is not None:
                known.setdefault(b.stage_id, []).append((worked, b.cost_per_hour))
    for pk, rows in known.items():
        whole = sum((h for h, _ in rows), ZERO)
        if whole:
            costs[pk] = sum((h * c for h, c in rows), ZERO) / whole
    return booked, costs, classes


def _agreed_line(a: Agreed, before: queries.Billed) -> AgreedLine:
    at = a.at_price or a.line
    return AgreedLine(
        key=a.line.pk, kind=at.kind, pricing=_pricing(a, at), quantity=at.quantity, stage=at.stage_id, part=at.part_id,
        accepted=a.at_price is not None, declined=a.answer.line is not None and not a.answer.accepted,
        billed=bool(a.family & before.estimate_lines), percent=at.basis.get("price") == "percent", text=at.text,
        of=a.line.accompanies_id, done=sum((before.by_line.get(pk, ZERO) for pk in a.family), ZERO),
        minimum=Decimal(at.basis["minimum"]) if str(at.basis.get("quantity", "")).startswith("minimum") else ZERO,
        estimate=a.line.estimate.number,
    )  # fmt: skip


def _pricing(a: Agreed, at: EstimateLine) -> str:
    """What went on under the customer's limit is charged as it was said, or the limit would be none."""
    return pricing.FIXED if a.capped else at.pricing


Priced = tuple[Item, EstimateLine | None]


def items(bills: Iterable[Bill], job: Job, prices: Prices) -> list[Priced]:
    """The priced lines for these bills, charges after the part that they go with, each with the estimate line it was agreed
    by."""
    found: list[Priced] = []
    parts: dict[int | None, Item] = {}
    for bill in bills:
        if bill.line is None:
            found += [(x, None) for x in _not_estimated(bill, job, prices)]
            continue
        priced = _agreed_item(bill, job, prices, parts.get(bill.of))
        if bill.of is None:
            parts[bill.line] = priced[0]
        found.append(priced)
    return _without_cores_in(found, dict(job.cores_in))


def _without_cores_in(priced: Iterable[Priced], free: dict[int, Decimal]) -> list[Priced]:
    """Leave the deposit off for old parts that are here already; the part's line says so, and so does what is left of its
    deposit."""
    found: list[Priced] = []
    for item, at in priced:
        of, part = item.accompanies, item.part_id
        here = (
            min(item.quantity, free.get(part, ZERO)) if part is not None and item.kind == pricing.CORE and of else ZERO
        )
        if of is None or not here:
            found.append((item, at))
            continue
        free[part or 0] -= here
        of.basis["cores_in"] = plain(here)
        left = item.quantity - here
        basis = item.basis | {"cores_in": plain(here), "less": plain(of.quantity - left)}
        if left > 0:
            found.append((replace(item, quantity=left, basis=basis), at))
    return found


def _agreed_item(bill: Bill, job: Job, prices: Prices, of: Item | None) -> Priced:
    """`of`: the line of the part that a charge goes with."""
    assert bill.line is not None  # noqa: S101 - what is on no estimate is priced apart
    agreed = job.agreed[bill.line]
    at = agreed.at_price
    assert at is not None  # noqa: S101 - only accepted lines are billed
    as_agreed = bill.why == billing.NO_STAGE
    how_priced = pricing.FIXED if as_agreed else _pricing(agreed, at)
    tax = prices.tax(
        at.tax_code
    )  # not that of the estimate: a rate may have changed since; the draft takes that of its supply
    how = {"labour": "booked", "part": "used"}.get(at.kind, "with-part" if of else "agreed")
    if how_priced == pricing.FIXED:
        how = "agreed"
    if bill.minimum:
        how = "minimum-booked"
    basis: dict[str, Any] = {
        "quantity": how,
        "price": "agreed",
        "agreed": estimates.ref(at.estimate).replace("estimate ", "", 1),
        **({"why": bill.why} if as_agreed else {}),
        **{k: at.basis[k] for k in ("part_number", "stage", "part", "charge_id") if k in at.basis},
    }
    if at.basis.get("price") == "percent" and how_priced != pricing.FIXED:
        basis |= {"quantity": "lump", "price": "percent", "percent": at.basis["percent"], "base": "0"}
    elif bill.quantity != at.quantity and of is None:
        basis["estimated"] = qty(at.quantity, at.unit)
    if bill.minimum:
        basis |= {"minimum": plain(bill.minimum), "hours": plain(bill.hours)}
    if of is not None and bill.quantity != of.quantity:
        basis["less"] = plain(of.quantity - bill.quantity)
    return Item(
        kind=at.kind, text=at.text, detail=at.detail, quantity=bill.quantity, unit=at.unit, unit_price=at.unit_price,
        tax_code=tax.code, tax_category=tax.category, tax_percent=tax.percent,
        discount_percent=at.discount_percent, discount_reason=at.discount_reason, pricing=how_priced,
        stage_id=at.stage_id, part_id=at.part_id, cost=_cost(bill, job), basis=basis, accompanies=of,
    ), at  # fmt: skip


def _not_estimated(bill: Bill, job: Job, prices: Prices) -> list[Item]:
    """The line, and what the catalogue charges beside a part."""
    assert bill.stage is not None  # noqa: S101 - hours and draws name their stage
    stage = job.stages[bill.stage]
    if bill.part is None:
        return _by_class(bill, stage, job, prices)
    wanted = prices.part(job.parts[bill.part], bill.stage, bill.quantity)
    found = pricing.part(wanted)
    found = replace(found, basis=found.basis | {"quantity": "used", "why": bill.why}, cost=_cost(bill, job))
    whole = job.before.parts.get((bill.stage, bill.part), ZERO) + bill.quantity
    lines = [found]
    for charge in pricing.charges(wanted, found):
        charged = job.before.charges.get((bill.stage, charge.basis["charge_id"]), ZERO)
        quantity = billing.beside(bill.quantity, whole, charged)
        less = {"less": plain(bill.quantity - quantity)} if quantity != bill.quantity else {}
        if quantity > 0:
            lines.append(replace(charge, quantity=quantity, basis=charge.basis | {"why": bill.why} | less))
    return lines


def _by_class(bill: Bill, stage: Stage, job: Job, prices: Prices) -> list[Item]:
    """Hours that were never estimated, at the price of whoever booked them: a line for each price. Who had no class counts as
    the one that the stage is for."""
    hours = {name: worked for name, worked in sorted(job.class_hours.get(stage.pk, {}).items()) if worked > 0}
    left = [
        max(ZERO, round_to(h, pricing.HOUR_DECIMALS) - job.before.classes.get((stage.pk, name), ZERO))
        for name, h in hours.items()
    ]
    shares = zip(hours, pricing.share_out(bill.quantity, left), strict=True) if hours else [("", bill.quantity)]
    worked = dict(zip(hours, pricing.share_out(_worked(bill), left), strict=True)) if hours else {"": _worked(bill)}
    groups: dict[Decimal | None, dict[str, Decimal]] = {}
    rates: dict[Decimal | None, pricing.Rate] = {}
    for name, quantity in shares:
        if quantity > 0:
            rate = prices.rate(stage.kind, name or stage.done_by)
            rates.setdefault(rate.per_hour, rate)
            groups.setdefault(rate.per_hour, {})[name] = quantity
    lines = []
    for price, classes in groups.items():
        quantity = sum(classes.values(), ZERO)
        work = replace(prices.stage(stage, quantity, done=True), rate=replace(rates[price], minimum=ZERO))
        found = pricing.labour(work, prices.tax())
        split = len(groups) > 1
        basis = found.basis | {
            "quantity": "booked-by" if split else "booked", "why": bill.why,
            "classes": {name: plain(q) for name, q in classes.items()}, "who": ", ".join(n or stage.done_by for n in classes),
        }  # fmt: skip
        if bill.minimum:
            basis |= {"minimum": plain(bill.minimum), "hours": plain(bill.hours), "quantity": "minimum-booked"}
        hours_worked = sum((worked[name] for name in classes), ZERO)
        cost = _cost(replace(bill, quantity=hours_worked, minimum=ZERO), job)
        lines.append(replace(found, basis=basis, cost=cost, detail=basis["who"] if split else ""))
    return lines


def _cost(bill: Bill, job: Job) -> Decimal | None:
    """What it cost us, as far as hours, lots and bills tell; work sent out that nobody billed yet at what was expected."""
    if bill.kind == pricing.SUBLET and bill.line is not None:
        at = job.agreed[bill.line].at_price or job.agreed[bill.line].line
        whole = job.sent_out.get(bill.line, at.cost)
        return None if whole is None else round_to(whole * bill.quantity / at.quantity, 4)
    if bill.stage is None:
        return None
    if bill.line in job.at_price:
        return job.at_price[bill.line]
    if bill.kind == pricing.LABOUR and bill.stage in job.hour_costs:
        return round_to(_worked(bill) * job.hour_costs[bill.stage], 4)
    if bill.kind == pricing.PART and bill.part is not None and (bill.stage, bill.part) in job.part_costs:
        return round_to(bill.quantity * job.part_costs[bill.stage, bill.part], 4)
    return None


def _worked(bill: Bill) -> Decimal:
    """Hours that were worked, where a minimum bills more."""
    return bill.hours if bill.minimum else bill.quantity


def rows(
    invoice: Any, after: int, priced: Sequence[Priced], *, of: InvoiceLine | None = None, **more: Any
) -> list[InvoiceLine]:
    """Unsaved lines of a draft, numbered on; charges name the line of their part, which is `of` or among them."""
    found = [
        InvoiceLine(invoice=invoice, position=n, net=0, estimate_line=at, accompanies=of, **item.values(), **more)
        for n, (item, at) in enumerate(priced, start=after + 1)
    ]
    if of is None:
        charging.put_together([item for item, _ in priced], found)
    return found


def lump(
    invoice: Invoice,
    position: int,
    text: str,
    price: Decimal,
    tax_code: str,
    vat: Vat,
    basis: dict[str, Any],
    *,
    times: int = 1,
    **more: Any,
) -> InvoiceLine:
    """An unsaved line that states one sum: `times` a price, at a rate. Its net is not reckoned yet."""
    return InvoiceLine(
        invoice=invoice, position=position, kind=LineKind.SUNDRY, text=text, quantity=Decimal(times), unit=pricing.LUMP,
        unit_price=price, net=0, tax_code=tax_code, tax_category=vat.category, tax_percent=vat.rate, basis=basis, **more,
    )  # fmt: skip
