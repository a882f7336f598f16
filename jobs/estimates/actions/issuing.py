"""Issuing an estimate, revising it, taking it back."""

from __future__ import annotations

import hashlib
import json
from datetime import date, timedelta
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder

from jobs.cards import actions as cards
from jobs.cards.actions import lock_card
from jobs.draws import actions as draws
from shop.kernel import clock
from shop.kernel.errors import Refused, field_error
from shop.kernel.text import clean_line
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.numbering.actions import number
from shop.people.models import Person
from shop.trail.record import announce, record

from .. import charging, entries, gathering, outlook, parties, pricing, queries, todays
from ..figures import TOTALS, reckon
from ..gathering import Prices
from ..models import Estimate, EstimateLine, LineKind
from .drafting import called, lock_draft, refuse_second
from .repricing import facts, refuse_changed

LONGEST = 2 * 366  # days a price may be held
COPIED = [
    f.attname for f in EstimateLine._meta.concrete_fields if f.name not in ("id", "estimate", "replaces", "accompanies")
]


@writes
def issue_estimate(
    estimate_id: int,
    expect: int | None,
    *,
    by: Person,
    valid_until: date | None = None,
    keep_prices: bool = False,
) -> Estimate:
    """Give a draft its number and date, freeze it, and let it take the place of the revision before.

    `valid_until`: by default as many days on as the business says. `keep_prices`: it goes out with the prices it has, also
    where the catalogue, a rule, a rate or a charge says another today; what a revision took over unchanged was told to the
    customer and needs no such word. Mailed if the customer agreed to be mailed. Raises NotFound, Stale, BadInput (valid_until),
    Refused (no lines, a price or a stage missing, prices changed since, another estimate is with the customer).
    """
    before = _lock_earlier(estimate_id)
    estimate = lock_draft(estimate_id, expect)
    card = lock_card(estimate.card_id)
    lines = list(estimate.lines.select_related("stage__plan_stage", "part"))
    if not lines:
        raise Refused("It has no lines yet. Add at least one, then issue it.", code="no-lines")
    entries.refuse_too_many(len(lines))
    missing = [n for n, line in enumerate(lines, 1) if line.basis.get("price") == "missing"]
    if missing:
        raise Refused(
            f"The price of line {', '.join(map(str, missing[:10]))} is not known yet. Set it (0 if it is free), then issue.",
            code="price-missing",
            line_ids=[lines[n - 1].pk for n in missing],
        )
    unbooked = [n for n, x in enumerate(lines, 1) if pricing.has_no_hours(x.kind, x.pricing, x.stage_id)]
    if unbooked:
        raise Refused(
            f"Line {', '.join(map(str, unbooked[:10]))} is labour by what was done, and names no stage that its hours are booked on, "
            "so it could never be billed. Choose the stage, or an agreed price, then issue.",
            code="stage-missing",
            line_ids=[lines[n - 1].pk for n in unbooked],
        )
    if card.cancelled_at or card.handed_over_at:
        raise Refused(f"Card {card.number} is closed, so there is nothing left to agree.", code="card-closed")
    refuse_second(card, estimate.kind, of=estimate)
    prices = Prices(customer_class=card.customer.customer_class)
    changed = [x for x in todays.changes(estimate, lines, prices) if not x.carried]
    if not keep_prices:
        refuse_changed(changed, estimate.currency)
    today = clock.today()
    valid_until = valid_until or today + timedelta(days=prices.profile.estimate_days)
    if valid_until < today:
        raise field_error("valid_until", "It can't be valid until a day that is past.", code="in-the-past")
    if (valid_until - today).days > LONGEST:
        raise field_error("valid_until", "No price holds longer than two years. Choose an earlier day.", code="too-far")
    rates = gathering.apply_taxes(lines, prices)
    reckon(estimate, lines, gathering.reasons((x.tax_code for x in lines), prices, estimate.language))
    if rates:
        EstimateLine.objects.bulk_update(lines, ["tax_category", "tax_percent"], batch_size=200)
    now = clock.now()
    if estimate.revision > 1:
        _supersede(before, estimate, by=by)
    else:
        estimate.number = number("EST", "estimate", today.year)
    save_next(
        estimate, number=estimate.number, issued_at=now, issued_on=today, issued_by=by, valid_until=valid_until,
        seller=parties.seller(prices.profile) | {"contact": by.name}, buyer=parties.buyer(card.customer),
        subject=parties.subject(card, estimate.language),
        outlook=outlook.kept(outlook.of(estimate, lines)),
        **{name: getattr(estimate, name) for name in TOTALS},
    )  # fmt: skip
    record(
        by, "estimate.issued", estimate, root=card,
        number=estimate.number, revision=estimate.revision, gross=str(estimate.total_gross), currency=estimate.currency,
        **({"rates": rates} if rates else {}),
    )  # fmt: skip
    if changed:
        record(by, "estimate.prices-kept", estimate, root=card, count=len(changed), prices=facts(changed))
    announce("estimate.issued", estimate=estimate.pk)
    return estimate


def _lock_earlier(estimate_id: int) -> list[Estimate]:
    """The revisions before it, locked before it and before the card, as whoever records an answer to them does."""
    draft = Estimate.objects.filter(pk=estimate_id).exclude(number="").first()
    if draft is None:
        return []
    rows = Estimate.objects.select_for_update(of=("self",)).filter(number=draft.number, revision__lt=draft.revision)
    return list(rows.order_by("pk"))


def _supersede(before: list[Estimate], estimate: Estimate, *, by: Person) -> None:
    """The revision before is no longer what is offered. A stage that was agreed, isn't begun and is left out now, isn't
    agreed any more, and a part that was declined isn't declined any more."""
    for old in (x for x in before if x.superseded_at is None):
        save_next(old, superseded_at=clock.now())
        record(by, "estimate.superseded", old, root=estimate.card, number=old.number, revision=old.revision)
        kept = set(estimate.lines.filter(stage__isnull=False).values_list("stage_id", flat=True))
        dropped = set(
            old.lines.filter(
                stage__isnull=False, stage__go_ahead_ref=queries.ref(old), stage__started_at__isnull=True
            ).values_list("stage_id", flat=True)
        )
        if dropped - kept:
            cards.withdraw_go_ahead(dropped - kept, by=by, reason=f"left out of {queries.ref(estimate)}")
        left_out = _parts_of(old) - _parts_of(estimate)
        if left_out:
            document = f"estimate {estimate.number} "
            draws.drop_answers(left_out, document=document, ref=queries.ref(estimate), by=by)


def _parts_of(estimate: Estimate) -> set[draws.Pair]:
    rows = estimate.lines.filter(kind=LineKind.PART, stage__isnull=False, part__isnull=False)
    return {(stage, part) for stage, part in rows.values_list("stage_id", "part_id") if stage and part}


@writes
def new_revision(estimate_id: int, *, by: Person) -> Estimate:
    """A draft with the lines of the newest issued revision, to be changed and issued in its place.

    Raises NotFound, Refused when it is a draft, not the newest, its next revision is being written already, or another
    estimate of the card is with the customer (this one was withdrawn): both would be agreed and billed.
    """
    old = claim(Estimate, estimate_id, None)
    if not old.issued_at:
        raise Refused("This is still a draft: change it as it is.", code="not-issued")
    newer = Estimate.objects.filter(number=old.number, revision__gt=old.revision).order_by("-revision").first()
    if newer:
        what = "is being written already. Open it" if not newer.issued_at else "is the newest. Revise that one"
        raise Refused(f"Revision {newer.revision} {what}.", code="not-newest", estimate_id=newer.pk)
    card = lock_card(old.card_id)
    if card.cancelled_at or card.handed_over_at:
        raise Refused(f"Card {card.number} is closed, so there is nothing left to agree.", code="card-closed")
    refuse_second(card, old.kind, of=old)
    draft = Estimate.objects.create(
        kind=old.kind, card=card, number=old.number, revision=old.revision + 1, currency=old.currency,
        language=parties.language_of(card.customer), created_at=clock.now(), created_by=by, note=old.note,
        discount_percent=old.discount_percent, discount_reason=old.discount_reason,
    )  # fmt: skip
    prices = Prices()
    lines, by_id = [], {}
    for row in old.lines.all():
        line = EstimateLine(estimate=draft, replaces=row, **{name: getattr(row, name) for name in COPIED})
        lines.append(line)
        by_id[row.pk] = line
    for line in lines:
        if line.replaces and line.replaces.accompanies_id:
            line.accompanies = by_id[line.replaces.accompanies_id]
    gathering.apply_taxes(lines, prices)
    reckon(draft, lines, gathering.reasons((x.tax_code for x in lines), prices, draft.language))
    charging.keep(lines)
    draft.save(update_fields=TOTALS)
    record(by, "estimate.revised", draft, root=card, number=draft.number, revision=draft.revision)
    return draft


@writes
def withdraw_estimate(estimate_id: int, *, by: Person, reason: str) -> Estimate:
    """Take an issued estimate back: it can no longer be agreed to. Raises NotFound, BadInput (reason), Refused for a draft
    (discard it), a superseded one, or one the customer has said yes to (make a new revision)."""
    reason = clean_line(reason, field="reason", required=True)
    estimate = claim(Estimate, estimate_id, None)
    if not estimate.issued_at:
        raise Refused("This is a draft that nobody has seen. Discard it instead.", code="not-issued")
    if estimate.withdrawn_at or estimate.superseded_at:
        raise Refused(f"{called(estimate)} no longer counts already.", code="not-open")
    if any(x.accepted for x in queries.answers(estimate).values()):
        raise Refused(
            f"The customer has said yes to lines of {called(estimate)}. Make a new revision that says what changed.",
            code="agreed",
        )
    save_next(estimate, withdrawn_at=clock.now())
    record(by, "estimate.withdrawn", estimate, root=estimate.card, number=estimate.number, reason=reason)
    return estimate


def fingerprint(estimate: Estimate) -> str:
    """SHA-256 of what the document states, so that an answer can be proven to be about it."""
    stated: dict[str, Any] = {
        name: getattr(estimate, name)
        for name in ("number", "revision", "kind", "issued_on", "valid_until", "currency", "seller", "buyer", "subject")
    } | {name: getattr(estimate, name) for name in TOTALS}
    if estimate.outlook:
        stated["outlook"] = estimate.outlook
    stated["lines"] = [
        [str(getattr(line, name)) for name in ("position", "text", "detail", "unit", "tax_category")]
        + [
            f"{getattr(line, name).normalize():f}"
            for name in ("quantity", "unit_price", "discount_percent", "tax_percent", "net")
        ]
        for line in estimate.lines.all()
    ]
    for name in TOTALS[1:]:
        stated[name] = f"{getattr(estimate, name).normalize():f}"
    return hashlib.sha256(json.dumps(stated, cls=DjangoJSONEncoder, sort_keys=True).encode()).hexdigest()
