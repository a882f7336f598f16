"""Writes of the reorder room."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final

from django.utils import timezone

from inventory.parts.models import Part, PartKind
from inventory.stock.models import Movement
from shop.kernel import clock
from shop.kernel.decimals import as_decimal, plain
from shop.kernel.errors import BadInput, NotFound, Refused, field_error
from shop.kernel.findings import Findings
from shop.kernel.quantity import positive
from shop.kernel.text import clean_line
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail import outbox
from shop.trail.record import announce, changes, record

from . import supply
from .models import Proposal, ReorderRule, ReorderRun

if TYPE_CHECKING:
    from .planning import Worked

NIGHT: Final = 3  # o'clock
QUIET_DAYS: Final = 30  # after a no
LONGEST_QUIET: Final = 730
LIMITS: Final[dict[str, tuple[Decimal, Decimal]]] = {
    "service_percent": (Decimal(50), Decimal("99.9")),
    "order_cost": (Decimal(0), Decimal(100_000)),
    "holding_percent": (Decimal(1), Decimal(200)),
    "budget": (Decimal(0), Decimal(10) ** 9),
}
DAYS: Final = {"lead_days": (0, 730), "review_days": (1, 180)}


@writes
def ask_for_run(*, by: Person) -> None:
    """Have all proposals worked out anew; it is done by the outbox a moment later."""
    record(by, "reorder.asked", by)
    announce("reorder.run", by=by.pk)


@writes
def ask_for_nightly_run() -> bool:
    """As `ask_for_run`, by itself: once a day from three in the morning on, where there is a ledger. Answers whether it asked."""
    now = timezone.localtime(clock.now())
    _lock()
    last = ReorderRun.objects.order_by("-id").first()
    if now.hour < NIGHT or (last and timezone.localdate(last.at) >= now.date()):
        return False
    if outbox.waiting().filter(topic="reorder.run").exists() or not Movement.objects.exists():
        return False
    record(None, "reorder.asked", _lock())
    announce("reorder.run", by=None)
    return True


@writes
def keep_run(worked: Worked, *, by: Person | None, event_id: int | None = None) -> ReorderRun:
    """Keep a set of proposals in place of the undecided ones before it. Nothing happens twice for one `event_id`. Decided ones
    stay as they are."""
    _lock()
    if event_id is not None and (done := ReorderRun.objects.filter(event_id=event_id).first()):
        return done
    run = ReorderRun.objects.create(
        at=clock.now(), by=by, event_id=event_id, months=worked.months, looked_at=worked.looked_at,
        proposed=len(worked.drafts), left_out=worked.left_out,
    )  # fmt: skip
    open_().delete()
    rows = [
        Proposal(
            run=run,
            part_id=d.part_id,
            site_id=d.site_id,
            supplier_id=d.supplier_id,
            quantity=d.quantity,
            price=d.price,
            rank=rank,
            reason=d.reason,
            figures=d.figures,
        )
        for rank, d in enumerate(worked.drafts, 1)
    ]
    Proposal.objects.bulk_create(rows, batch_size=500)
    record(by, "reorder.run", run, proposed=len(rows), looked_at=worked.looked_at)
    return run


def open_() -> Any:
    """Proposals that nobody has decided."""
    return Proposal.objects.filter(ordered_at__isnull=True, put_off_at__isnull=True)


def _lock() -> ReorderRule:
    """Two runs one after the other: the row of the shop's rule is the lock."""
    ReorderRule.objects.get_or_create(part=None, kind="")
    return ReorderRule.objects.select_for_update(of=("self",), no_key=True).get(part=None, kind="")


@writes
def order(
    pk: int, expect: int | None, *, by: Person, quantity: Decimal | None = None, supplier_id: int | None = None
) -> Proposal:
    """Order what is proposed, or another `quantity` (in the part's unit), of the supplier proposed or named.

    Raises NotFound, Stale, BadInput, Refused when it is decided already.
    """
    row = _undecided(pk, expect)
    amount = positive(quantity if quantity is not None else row.quantity, row.part.unit)
    said = supply.place(row, amount, supplier_id or row.supplier_id, by)
    save_next(
        row, quantity=amount, supplier_id=supplier_id or row.supplier_id, ordered_at=clock.now(), ordered_as=said,
        decided_by=by,
    )  # fmt: skip
    record(by, "proposal.ordered", row, root=row.part, quantity=plain(amount), ordered_as=said)
    return row


@writes
def put_off(pk: int, expect: int | None, *, by: Person, note: str, until: date | None = None) -> Proposal:
    """Not now, and why; the part isn't proposed again before `until` (a month from now if left out).

    Raises NotFound, Stale, BadInput, Refused when it is decided already.
    """
    row = _undecided(pk, expect)
    reason = clean_line(note, field="note", max_length=200)
    today = clock.today()
    day = until or today + timedelta(days=QUIET_DAYS)
    if not today < day <= today + timedelta(days=LONGEST_QUIET):
        raise field_error("until", "Give a day after today, within two years.")
    save_next(row, put_off_at=clock.now(), put_off_until=day, note=reason, decided_by=by)
    record(by, "proposal.put-off", row, root=row.part, until=day.isoformat(), reason=reason)
    return row


def _undecided(pk: int, expect: int | None) -> Proposal:
    try:
        row = claim(Proposal, pk, expect)
    except NotFound as error:
        raise NotFound("There is no such proposal any more: a newer run took its place. Look at the list.") from error
    if row.state != "open":
        who = row.decided_by.name if row.decided_by else "somebody"
        what = f"ordered ({row.ordered_as})" if row.ordered_at else f"put off until {row.put_off_until:%d.%m.%Y}"
        raise Refused(f"{who} has {what} already. Nothing was changed.", code="proposal-decided")
    return row


# --- rules ------------------------------------------------------------------------------------------


@writes
def add_rule(*, by: Person, part_id: int | None = None, kind: str = "", **values: Any) -> ReorderRule:
    """A rule for a part or a kind, or (neither) for the whole shop, whose rule is there from the start and is set.
    Raises BadInput, NotFound, Refused when there is one."""
    if kind and kind not in PartKind.values:
        raise field_error("kind", "Choose one of: " + ", ".join(PartKind.values) + ".", code="unknown-kind")
    if kind and part_id is not None:
        raise field_error("kind", "A rule is for a part or for a kind, not both.")
    if part_id is not None and not Part.objects.filter(pk=part_id).exists():
        raise NotFound("There is no such part.")
    clean = check_rule(values, whole_shop=not kind and part_id is None)
    if not kind and part_id is None:
        return edit_rule(_lock().pk, None, by=by, **clean)
    if ReorderRule.objects.filter(part_id=part_id, kind=kind).exists():
        raise Refused("There is a rule for this already. Change that one.", code="rule-there")
    rule = ReorderRule.objects.create(part_id=part_id, kind=kind, **clean)
    record(by, "reorder-rule.added", rule, part_id=part_id, kind=kind, **{k: _plain(v) for k, v in clean.items()})
    return rule


@writes
def edit_rule(pk: int, expect: int | None, *, by: Person, **values: Any) -> ReorderRule:
    """Change a rule at version `expect`; None: as the next wider rule says. Raises NotFound, Stale, BadInput."""
    rule = claim(ReorderRule, pk, expect)
    clean = check_rule(values, whole_shop=not rule.kind and rule.part_id is None)
    before = {name: _plain(getattr(rule, name)) for name in clean}
    save_next(rule, **clean)
    record(by, "reorder-rule.changed", rule, changed=changes(before, {k: _plain(v) for k, v in clean.items()}))
    return rule


def check_rule(values: dict[str, Any], *, whole_shop: bool) -> dict[str, Any]:
    """The values of a rule, checked. Raises BadInput naming every wrong field."""
    found, clean = Findings(), dict(values)
    for name, (least, most) in LIMITS.items():
        if clean.get(name) is None:
            continue
        try:
            clean[name] = as_decimal(clean[name], name)
        except BadInput as error:
            found.note(error)
            continue
        if not least <= clean[name] <= most:
            found.add(name, f"Give {least} to {most:,}, or leave it empty.")
    for name, (first, last) in DAYS.items():
        if clean.get(name) is not None and not first <= clean[name] <= last:
            found.add(name, f"Give {first} to {last} days, or leave it empty.")
    if clean.get("budget") is not None and not whole_shop:
        found.add("budget", "Only the whole shop has a budget.")
    found.raise_any()
    return clean


def _plain(value: Any) -> Any:
    return str(value) if isinstance(value, Decimal) else value
