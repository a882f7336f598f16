"""An estimate while it is a draft: its lines and its discount."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from jobs.cards.actions import lock_card
from jobs.cards.models import JobCard
from shop.kernel import clock
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.rights import require
from shop.kernel.text import clean_text
from shop.kernel.versions import claim, refuse_stale, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from .. import charging, entries, gathering, parties, pricing, queries
from ..figures import TOTALS, reckon
from ..gathering import Prices
from ..models import OPEN_LINES, Estimate, EstimateLine, LineKind
from ..pricing import Item
from .filling import take_values


@writes
def draft_estimate(*, by: Person, card_id: int, kind: str = "estimate") -> Estimate:
    """A draft with the card's chargeable stages, the parts they need and sundries, at today's prices.

    `kind`: estimate, quotation (its lines are at a firm price) or additional (only what no other estimate names).
    Raises NotFound, BadInput (kind), Refused when the card is closed, when it would be too many lines, or when one is with the
    customer already: that gets a new revision instead.
    """
    if kind not in Estimate.Kind.values:
        raise field_error("kind", "Choose one of: " + ", ".join(Estimate.Kind.values) + ".", code="unknown-kind")
    card = lock_card(card_id)
    if card.cancelled_at or card.handed_over_at:
        raise Refused(
            f"Card {card.number} is closed, so there is nothing left to estimate. Open a new card for more work.",
            code="card-closed",
        )
    refuse_second(card, kind)
    prices = Prices(customer_class=card.customer.customer_class)
    profile = prices.profile
    estimate = Estimate.objects.create(
        kind=kind, card=card, currency=profile.currency, language=parties.language_of(card.customer),
        created_at=clock.now(), created_by=by,
    )  # fmt: skip
    named: list[EstimateLine] = []
    if kind == Estimate.Kind.ADDITIONAL:
        named = list(EstimateLine.objects.filter(OPEN_LINES, estimate__card=card))
    firm = pricing.FIXED if kind == Estimate.Kind.QUOTATION else pricing.AS_DONE
    items = gathering.items_of(card.pk, pricing_of_lines=firm, named=named, prices=prices, language=estimate.language)
    entries.refuse_too_many(
        len(items),
        f"Those of card {card.number} would be {len(items)}. Put several into one: join its stages or the parts they need, or "
        "open another card for some of the work.",
    )
    lines = _rows(estimate, in_order(items), after=0)
    _put_figures(estimate, lines, prices)
    charging.keep(lines)
    estimate.save(update_fields=TOTALS)
    record(by, "estimate.drafted", estimate, root=card, kind=kind, lines=len(lines))
    return estimate


def refuse_second(card: JobCard, kind: str, *, of: Estimate | None = None) -> None:
    """Two estimates for the same work would be agreed and billed twice. `of`: the one that is revised or issued; revisions take
    each other's place. The caller holds the card."""
    other = queries.second(card.pk, kind, number=of.number if of else "", lines_of=of.pk if of else None)
    if other:
        raise Refused(
            f"{called(other)} is with the customer. Make a new revision of it, or a notice of additional work.",
            code="estimate-open",
            estimate_id=other.pk,
        )


@writes
def add_line(estimate_id: int, expect: int | None, *, by: Person, **values: Any) -> EstimateLine:
    """Add a line to a draft: kind, text, quantity, unit, unit_price; also detail, discount_percent and _reason, tax_code,
    pricing, optional, stage_id, part_id, cost, and markup (percent on `cost`, instead of unit_price).

    A `part_id` alone is enough: text, unit, price, tax and expected cost come from the catalogue. A part's charges come with
    it, as lines of their own. Labour with a `stage_id` is priced as that stage is, at least at the minimum of its rate; without
    one it has to be at a fixed price, since no hours can be booked on it. Raises NotFound, Stale, BadInput, Refused (not a draft, too many lines), NotAllowed (a discount without the
    right).
    """
    estimate = lock_draft(estimate_id, expect)
    lines = list(estimate.lines.all())
    entries.refuse_too_many(len(lines) + 1)
    prices = Prices(customer_class=estimate.card.customer.customer_class)
    line = EstimateLine(estimate=estimate, position=len(lines) + 1, net=0, basis={})
    take_values(line, values, by, prices)
    if not line.text:
        raise field_error("text", "Say what the line is for.", code="blank")
    new = [line, *_charges(line, prices)]
    entries.refuse_too_many(len(lines) + len(new))
    settle(estimate, [*lines, *new], prices, changed=new)
    for one in new:
        record(by, "estimate.line-added", one, root=estimate.card, text=one.text, net=str(one.net))
    return line


def _charges(line: EstimateLine, prices: Prices) -> list[EstimateLine]:
    """Unsaved lines of what goes with a new line of a part."""
    if line.part is None or line.kind != LineKind.PART:
        return []
    wanted = prices.part(line.part, line.stage_id, line.quantity)
    of = pricing.part(wanted, pricing=line.pricing)
    return _rows(line.estimate, pricing.charges(wanted, of), after=line.position, of=line)


@writes
def edit_line(line_id: int, expect: int | None, *, by: Person, **values: Any) -> EstimateLine:
    """Change a line of a draft; `expect` is the version of the estimate. Fields as for `add_line`."""
    estimate, line, lines = lock_line(line_id, expect)
    before = {k: getattr(line, k) for k in values if hasattr(line, k)}
    prices = Prices()
    take_values(line, values, by, prices)
    settle(estimate, lines, prices, changed=[line])
    record(
        by, "estimate.line-changed", line, root=estimate.card, text=line.text,
        changed={k: [str(a), str(b)] for k, (a, b) in changes(before, {k: getattr(line, k) for k in before}).items()},
    )  # fmt: skip
    return line


@writes
def remove_line(line_id: int, expect: int | None, *, by: Person) -> Estimate:
    """Take a line off a draft, a part's line with its charges. A charge can go by itself: this customer isn't charged it."""
    estimate, line, lines = lock_line(line_id, expect)
    gone = [line, *(x for x in lines if x.accompanies_id == line.pk)]
    for one in gone:
        record(by, "estimate.line-removed", one, root=estimate.card, text=one.text, net=str(one.net))
    line.delete()
    settle(estimate, [x for x in lines if x not in gone], Prices())
    return estimate


@writes
def move_line(line_id: int, expect: int | None, *, by: Person, up: bool) -> Estimate:
    """Move a line of a draft past its neighbour of the same kind. Fine when it is the first or last already."""
    estimate, line, lines = lock_line(line_id, expect)
    section = [x for x in lines if x.kind == line.kind]
    place = section.index(line) + (-1 if up else 1)
    if 0 <= place < len(section):
        a, b = lines.index(line), lines.index(section[place])
        lines[a], lines[b] = lines[b], lines[a]
    settle(estimate, lines, Prices())
    record(by, "estimate.line-moved", line, root=estimate.card, text=line.text, up=up)
    return estimate


@writes
def edit_estimate(
    estimate_id: int,
    expect: int | None,
    *,
    by: Person,
    note: str | None = None,
    discount_percent: Decimal | None = None,
    discount_reason: str | None = None,
) -> Estimate:
    """Change what belongs to a draft as a whole; None leaves it as it is.

    `note`: the text below the totals. `discount_percent`: on the whole document, taken off each tax rate in proportion; it
    needs a reason and the right `estimates.discount`. Raises NotFound, Stale, BadInput, NotAllowed, Refused when issued.
    """
    estimate = lock_draft(estimate_id, expect)
    before = {name: str(getattr(estimate, name)) for name in ("note", "discount_percent", "discount_reason")}
    if note is not None:
        estimate.note = clean_text(note, field="note", max_length=4000)
    percent = estimate.discount_percent if discount_percent is None else discount_percent
    reason = estimate.discount_reason if discount_reason is None else discount_reason
    if (percent, reason) != (estimate.discount_percent, estimate.discount_reason):
        require(by, "estimates.discount")
        estimate.discount_percent, estimate.discount_reason = entries.discount(percent, reason)
    settle(estimate, list(estimate.lines.all()), Prices(), *before)
    after = {name: str(getattr(estimate, name)) for name in before}
    record(by, "estimate.changed", estimate, root=estimate.card, changed=changes(before, after))
    return estimate


def set_discount(estimate_id: int, expect: int | None, *, by: Person, percent: Decimal, reason: str = "") -> Estimate:
    """A discount on the whole draft; 0 takes it away. See `edit_estimate`."""
    return edit_estimate(estimate_id, expect, by=by, discount_percent=percent, discount_reason=reason)


@writes
def discard_estimate(estimate_id: int, expect: int | None, *, by: Person) -> None:
    """Throw a draft away. It was never issued, so nobody holds a copy; the trail keeps that it was."""
    estimate = lock_draft(estimate_id, expect)
    record(by, "estimate.discarded", estimate, root=estimate.card, gross=str(estimate.total_gross))
    estimate.lines.all().delete()
    estimate.delete()


def lock_draft(estimate_id: int, expect: int | None) -> Estimate:
    """Raises NotFound, Stale, Refused when it was issued."""
    estimate = claim(Estimate, estimate_id, None)
    refuse_issued(estimate)  # the reason to tell, before that somebody saved it
    refuse_stale(estimate, expect)
    return estimate


def refuse_issued(estimate: Estimate) -> None:
    if estimate.issued_at:
        raise Refused(f"{called(estimate)} is issued and stays as it is. Make a new revision.", code="issued")


def lock_line(line_id: int, expect: int | None) -> tuple[Estimate, EstimateLine, list[EstimateLine]]:
    """The draft, the line and all lines in order."""
    estimate_id = EstimateLine.objects.filter(pk=line_id).values_list("estimate_id", flat=True).first()
    if estimate_id is None:
        raise NotFound("There is no such line.")
    estimate = lock_draft(estimate_id, expect)
    lines = list(estimate.lines.all())
    line = next((x for x in lines if x.pk == line_id), None)
    if line is None:
        raise NotFound("There is no such line any more.")
    return estimate, line, lines


def called(estimate: Estimate) -> str:
    """How messages name it: "Estimate EST-26-0012 revision 2"."""
    word = estimate.get_kind_display()
    return f"{word} {estimate.number} revision {estimate.revision}" if estimate.number else f"The draft {word.lower()}"


MOVED = ("position", "net", "unit_price", "cost", *charging.FOLLOWED)
ORDER = {kind: n for n, kind in enumerate(LineKind.values)}


def in_order(items: Iterable[Any]) -> list[Any]:
    """By section, else as they are."""
    return sorted(items, key=lambda x: ORDER[x.kind])


def _rows(estimate: Estimate, items: list[Item], *, after: int, of: EstimateLine | None = None) -> list[EstimateLine]:
    """Unsaved lines, numbered on; charges name the line of their part, which is `of` or among them."""
    rows = [
        EstimateLine(estimate=estimate, position=n, net=0, accompanies=of, **item.values())
        for n, item in enumerate(items, start=after + 1)
    ]
    if of is None:
        charging.put_together(items, rows)
    return rows


def settle(
    estimate: Estimate, lines: list[EstimateLine], prices: Prices, *more: str, changed: Sequence[EstimateLine] = ()
) -> None:
    """Order, price and sum a draft anew, charges as their parts; save what moved and raise its version. `changed` are saved
    in their order."""
    lines = in_order(lines)
    before = {line.pk: [getattr(line, name) for name in MOVED] for line in lines}
    charging.follow(lines)
    for n, line in enumerate(lines, start=1):
        line.position = n
    _put_figures(estimate, lines, prices)
    for line in changed:
        line.save()
    moved = [x for x in lines if x not in changed and before[x.pk] != [getattr(x, name) for name in MOVED]]
    EstimateLine.objects.bulk_update(moved, [*MOVED, "basis"], batch_size=100)
    save_next(estimate, **{name: getattr(estimate, name) for name in (*TOTALS, *more)})


def _put_figures(estimate: Estimate, lines: list[EstimateLine], prices: Prices) -> None:
    reckon(estimate, lines, gathering.reasons((x.tax_code for x in lines), prices, estimate.language))
