"""What a card has to be priced, read from the other rooms and handed to `pricing` as plain values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from functools import cached_property

from django.db.models import Avg

from inventory.parts import queries as catalogue
from inventory.parts.costs import last_costs
from inventory.parts.models import Part, PartCharge
from inventory.parts.pricing import Price
from jobs.cards.models import Stage
from jobs.draws import queries as draws
from jobs.draws.models import Need
from jobs.timebook import queries as timebook
from shop.business import queries as business
from shop.business.models import Business, TaxRate
from shop.business.rates import LabourRates
from shop.documents.formatting import Formatter
from shop.kernel import clock
from shop.kernel.errors import Refused, field_error
from shop.kernel.rounding import round_to
from shop.people.models import Person

from . import pricing
from .models import EstimateLine, LineKind, PricedLine
from .pricing import Charge, Item, PartWanted, Rate, StageWork, Tax

ZERO = Decimal(0)
SUNDRIES = {"en": "Sundries and small materials", "de": "Klein- und Verbrauchsmaterial"}


@dataclass
class Prices:
    """The shop's prices of one day for one class of customer, each asked for once."""

    day: date = field(default_factory=lambda: clock.today())
    customer_class: str = ""
    _parts: dict[int, Price] = field(default_factory=dict)
    _charges: dict[int, list[PartCharge]] = field(default_factory=dict)
    _taxes: dict[str, TaxRate] = field(default_factory=dict)

    @cached_property
    def profile(self) -> Business:
        return business.profile()

    @cached_property
    def labour_rates(self) -> LabourRates:
        return business.labour_rates()

    def tax_rate(self, code: str = "") -> TaxRate:
        """Raises Refused (code "no-tax-rate")."""
        if code not in self._taxes:
            self._taxes[code] = business.tax_rate(code, self.day)
        return self._taxes[code]

    def tax(self, code: str = "") -> Tax:
        row = self.tax_rate(code)
        return Tax(row.code, row.category, row.percent)

    def rate(self, kind: str, labour_class: str) -> Rate:
        try:
            found = self.labour_rates.fitting(self.day, kind, labour_class)
        except Refused:
            return Rate(None, kind, labour_class, self.day)
        return Rate(found.per_hour, kind, labour_class, self.day, found.minimum)

    @cached_property
    def usual_hour_cost(self) -> Decimal | None:
        """What an hour costs us on average, for a stage that nobody has been given yet."""
        known = Person.objects.filter(is_active=True, cost_per_hour__isnull=False)
        average = known.aggregate(a=Avg("cost_per_hour"))["a"]
        return None if average is None else round_to(Decimal(average), 4)

    def stage(self, stage: Stage, hours: Decimal, *, done: bool) -> StageWork:
        cost = stage.mechanic.cost_per_hour if stage.mechanic else self.usual_hour_cost
        return StageWork(
            stage.pk, stage.position, stage.name, stage.kind, hours, self.rate(stage.kind, stage.done_by),
            done=done, cost_per_hour=cost,
        )  # fmt: skip

    def part(self, part: Part, stage_id: int | None, quantity: Decimal, unit_cost: Decimal | None = None) -> PartWanted:
        cost = pricing.expected_cost(quantity, unit_cost)
        price = self.sale(part)
        charges = tuple(
            Charge(x.pk, x.kind, x.text, x.amount, self.tax(x.tax_code or part.tax_code)) for x in self.beside(part)
        )
        return PartWanted(
            part.pk, stage_id, part.number, part.name, part.unit, quantity, price.amount, self.tax(part.tax_code), cost,
            price.rule.name if price.rule else "", charges, self.day,
        )  # fmt: skip

    def sale(self, part: Part) -> Price:
        """What one of it is sold at."""
        if part.pk not in self._parts:
            self.learn([part])
        return self._parts[part.pk]

    def beside(self, part: Part) -> Sequence[PartCharge]:
        """What the catalogue charges beside one of it."""
        if part.pk not in self._parts:
            self.learn([part])
        return self._charges.get(part.pk, ())

    def learn(self, parts: Iterable[Part]) -> None:
        """Ask for the prices of many parts at once, and for what is charged beside them."""
        wanted = list(parts)
        self._parts |= catalogue.prices(wanted, customer_class=self.customer_class, day=self.day)
        self._charges |= catalogue.charges_of(x.pk for x in wanted)


def part(pk: int) -> Part:
    """A part that can be put on a document. Raises BadInput."""
    found = Part.objects.filter(pk=pk, archived_at__isnull=True).first()
    if found is None:
        raise field_error("part_id", "There is no such part in the catalogue.", code="unknown-part")
    return found


def work_of(stage: Stage, prices: Prices, booked: Mapping[int, timebook.StageHours] | None = None) -> StageWork:
    """A stage as it is priced: its standard hours, or those booked once it is finished. `booked`: by stage, where they are at
    hand."""
    done = stage.finished_at is not None
    known = timebook.hours_by_stage([stage]) if done and booked is None else booked or {}
    hours = known[stage.pk].booked if done and stage.pk in known else stage.standard_hours
    return prices.stage(stage, hours, done=done)


def apply_taxes(lines: Iterable[PricedLine], prices: Prices) -> dict[str, list[str]]:
    """Give lines the tax of their code on the day of `prices`: the law decides which rate holds, not the day of the draft.
    Answers what changed, by code: percent before and after. Raises Refused (code "no-tax-rate")."""
    changed = {}
    for line in lines:
        tax = prices.tax(line.tax_code)
        if (line.tax_category, line.tax_percent) != (tax.category, tax.percent):
            changed[tax.code] = [f"{line.tax_percent.normalize():f}", f"{tax.percent.normalize():f}"]
            line.tax_category, line.tax_percent = tax.category, tax.percent
    return changed


def reasons(codes: Iterable[str], prices: Prices, language: str) -> dict[str, str]:
    """Why no tax is due, by tax code (Art. 226 (11)), in the language of the document."""
    return {code: prices.tax_rate(code).reason_in(language) for code in set(codes)}


MINIMUM = {
    "en": "At least {hours} h are charged for this work.",
    "de": "Für diese Arbeit werden mindestens {hours} Std. berechnet.",
}


def told_minimum(hours: str, language: str, currency: str) -> str:
    """What the customer is told of hours that are billed at least, as the document writes it."""
    form = Formatter(language, currency)
    return MINIMUM.get(language, MINIMUM["en"]).format(hours=form.quantity(Decimal(hours)))


def items_of(
    card_id: int, *, pricing_of_lines: str, named: Sequence[EstimateLine], prices: Prices, language: str = "en"
) -> list[Item]:
    """Lines for a card: its chargeable stages that aren't declined, the parts they need with their charges, sundries.

    A stage that is finished and was never agreed (finding out what is wrong) is there with the hours booked, so that
    the customer sees all there is to pay. `named` are the lines that the customer has already: of a stage that is among them
    only the parts that aren't, or so many more of one.
    """
    rows = Stage.objects.filter(
        card_id=card_id, removed_at__isnull=True, declined_at__isnull=True, chargeable=True
    ).select_related("mechanic")
    known = {x.stage_id for x in named if x.stage_id is not None}
    standing = {s.pk for s in rows}
    stages = [s for s in rows if s.pk not in known and not (s.finished_at and s.go_ahead_at)]
    booked = timebook.hours_by_stage([s for s in stages if s.finished_at])
    items = []
    for stage in stages:
        work = work_of(stage, prices, booked)
        if stage.kind == "sublet":
            items.append(pricing.sent_out(work, prices.tax(), pricing=pricing_of_lines))
        if work.hours > 0:
            line = pricing.labour(work, prices.tax(), pricing=pricing_of_lines)
            if "minimum" in line.basis:  # the customer is told
                line = replace(line, detail=told_minimum(line.basis["minimum"], language, prices.profile.currency))
            items.append(line)
    whole = {s.pk for s in stages}
    every = list(draws.needs(card_id))
    needs = [(need, need.quantity) for need in every if need.stage_id in whole]
    needs += _beyond(
        named,
        [x for x in every if x.stage_id in standing & known and not x.declined_at],
        draws.spoiled(card_id) if known else {},
    )
    prices.learn([need.part for need, _ in needs])
    costs = last_costs({need.part_id for need, _ in needs})
    for need, quantity in needs:
        wanted_part = prices.part(need.part, need.stage_id, quantity, costs.get(need.part_id))
        line = pricing.part(wanted_part, pricing=pricing_of_lines)
        items += [line, *pricing.charges(wanted_part, line)]
    percent = prices.profile.sundries_percent
    if percent and items:
        currency = prices.profile.currency
        base = pricing.sundries_base(items, currency)
        items.append(
            pricing.sundries(
                percent,
                base,
                prices.tax(),
                currency,
                text=SUNDRIES.get(language, SUNDRIES["en"]),
                pricing=pricing_of_lines,
            )
        )
    return items


def _beyond(
    named: Iterable[EstimateLine], needs: Iterable[Need], spoiled: Mapping[tuple[int, int], Decimal]
) -> list[tuple[Need, Decimal]]:
    """What of these needs no line names: the part on its stage, or, typed without a stage, the part. What was spoiled is ours
    to pay, and a stage that is finished needs no more than it drew."""
    ours = dict(spoiled)
    left: dict[tuple[int | None, int], Decimal] = {}
    for x in named:
        if x.kind == LineKind.PART and x.part_id is not None:
            at = (x.stage_id, x.part_id)
            left[at] = left.get(at, ZERO) + x.quantity
    found = []
    for need in needs:
        missing = min(need.quantity, need.drawn) if need.stage.finished_at else need.quantity
        spent = min(missing, ours.get((need.stage_id, need.part_id), ZERO))
        if spent:
            ours[need.stage_id, need.part_id] -= spent
            missing -= spent
        for at in ((need.stage_id, need.part_id), (None, need.part_id)):
            has = min(missing, left.get(at, ZERO))
            if has:
                left[at] -= has
                missing -= has
        if missing:
            found.append((need, missing))
    return found
