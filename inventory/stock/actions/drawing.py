from __future__ import annotations

from datetime import date, datetime, time
from decimal import Decimal

from django.db.models import QuerySet
from django.utils import timezone

from inventory.parts.models import Part
from shop.kernel import clock
from shop.kernel.decimals import as_decimal
from shop.kernel.errors import BadInput, NotFound, Refused, field_error
from shop.kernel.quantity import positive
from shop.kernel.rights import require
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person

from ..choosing import Place, opened_expiry, order, take
from ..models import Balance, Lot, Movement, Reservation, StockLevel
from ..posting import Entry, hold_bins, lock, lying, post, site_of
from ..refusing import not_free, words
from .moving import split_off
from .reserving import use_up

ZERO = Decimal(0)


@writes
def draw(
    *,
    by: Person,
    part_id: int,
    site_id: int,
    quantity: Decimal,
    label: str,
    reservation_id: int | None = None,
    bin_id: int | None = None,
    lot_id: int | None = None,
    override: str = "",
    holder: str = "",
) -> list[Movement]:
    """Take `quantity` (in the part's unit) from stock for what `label` says; one movement per lot and bin.

    Takes what expires first, else the oldest receipt; only from `bin_id` or `lot_id` when given. Never from quarantine,
    never what is kept for others; the caller's own reservation counts as his and is used up. Expired lots only with
    `override`, the reason of a person with the right `stock.override`, and only after the good ones. `holder` names the
    room that keeps the movements' keys; then only it can bring them back.

    Raises NotFound, BadInput, NotAllowed, Refused (code "not-enough"), NeedsOverride (code "expired").
    """
    label = clean_line(label, field="label", required=True, max_length=120)
    override = clean_line(override, field="override", max_length=200)
    if override:
        require(by, "stock.override")
    level = lock([(part_id, site_id)]).get((part_id, site_id))
    if level is None:
        raise _never_there(part_id, site_id, quantity)
    part = level.part
    quantity = positive(as_decimal(quantity, "quantity"), part.unit)
    shelf = lying(level, reservation_id)
    own = _own(level, reservation_id, shelf.reservation)
    today = clock.today()
    there = [p for p in order(shelf.places) if not p.quarantine]
    good = [p for p in there if not p.expired(today)]
    expired = [p for p in there if p.expired(today)]
    usable = good + expired if override else good
    others = level.reserved - (own.quantity if own else ZERO)
    chosen = [p for p in usable if bin_id in (None, p.bin_id) and lot_id in (None, p.lot_id)]
    free = max(min(_sum(usable) - others, _sum(chosen)), ZERO)
    if quantity > free:
        only = _only(there, bin_id, lot_id) if len(chosen) < len(usable) or not usable else ""
        reach = [p for p in expired if bin_id in (None, p.bin_id) and lot_id in (None, p.lot_id)]
        raise not_free(
            part, site_id, quantity, free, chosen, [] if override else reach, own=own.pk if own else None, only=only
        )
    if own:
        use_up(level, own, quantity)
    entries: list[Entry] = []
    for p, portion in take(chosen, quantity):
        why = override if p.expired(today) else ""
        entries.append(
            Entry(
                Movement.Kind.DRAW, level, p.lot_id, p.bin_id, -portion, p.unit_cost, label=label, override=why,
                holder=holder, balance_id=p.balance_id, on_hand=p.on_hand,
                key=None if entries else shelf.next_movement,
            )
        )  # fmt: skip
    movements = post(by, entries, used=own)
    for movement in movements:
        movement.part, movement.lot, movement.bin = part, shelf.lots[movement.lot_id], shelf.bins[movement.bin_id]
    return movements


@writes
def put_back(
    *,
    by: Person,
    movement_id: int,
    quantity: Decimal,
    bin_id: int | None = None,
    label: str = "",
    reason: str = "",
    holder: str = "",
    opened_on: date | None = None,
) -> Movement:
    """Bring back unused what a draw took: to its lot, into the bin it came from or `bin_id`, at what it
    costs now (what it was drawn at, and the differences posted for that draw since).

    `opened_on`: it is what is left of a container that was opened on that day. It becomes an opened lot of its own (one for
    each day), which keeps as long as the part keeps once opened.

    Raises NotFound, BadInput (opened before it was drawn, or in the future), and Refused for more than was drawn and not yet
    brought back, or for what another room holds (code "held").
    """
    drawn = Movement.objects.filter(pk=movement_id, kind=Movement.Kind.DRAW).first()
    if drawn is None:
        raise NotFound("There is no such draw.")
    if drawn.holder != holder:
        raise Refused(
            f"This was drawn for {drawn.label}. Bring it back there, so that its cost comes back too.", code="held"
        )
    into = bin_id or drawn.bin_id
    site_id = site_of(into)
    levels = lock({(drawn.part_id, drawn.site_id), (drawn.part_id, site_id)}, create=True)
    level = levels[drawn.part_id, site_id]
    part = level.part
    quantity = positive(as_decimal(quantity, "quantity"), part.unit)
    hold_bins(into)
    lot = Lot.objects.get(pk=drawn.lot_id)  # inside the lock: what it costs now
    back = _sum_of(Movement.objects.filter(reverses_id=drawn.pk, kind=Movement.Kind.RETURN))
    left = -drawn.quantity - back
    if quantity > left:
        already = f" and {words(back, part)} came back already" if back else ""
        raise Refused(
            f"{words(-drawn.quantity, part)} of {part.number} were drawn{already}: at most {words(left, part)} can come "
            "back. If more lies here, count the bin.",
            code="more-than-drawn",
            left=left,
        )
    if opened_on is not None:
        _check_opened(opened_on, drawn)
    returned = post(
        by,
        [
            Entry(
                Movement.Kind.RETURN, level, drawn.lot_id, into, quantity, lot.cost,
                label=clean_line(label, field="label", max_length=120) or drawn.label, holder=holder,
                reason=clean_line(reason, field="reason", max_length=200), reverses_id=drawn.pk,
            )
        ],
    )[0]  # fmt: skip
    if opened_on is not None and lot.opened_at is None:
        balance = Balance.objects.select_related("lot", "bin").get(lot=lot, bin_id=into)
        lot.part = part
        moment = timezone.make_aware(datetime.combine(opened_on, time.min))
        split_off(
            by, level, balance, lot, quantity, moment, opened_expiry(lot.expires_on, opened_on, part.open_life_days)
        )
    return returned


def _check_opened(opened_on: date, drawn: Movement) -> None:
    if opened_on > clock.today():
        raise field_error("opened_on", "This is in the future.", code="future")
    if opened_on < timezone.localdate(drawn.at):
        raise field_error(
            "opened_on", f"It was drawn closed on {timezone.localdate(drawn.at):%Y-%m-%d}. Give that day or a later one.",
            code="before-draw",
        )  # fmt: skip


def _own(level: StockLevel, reservation_id: int | None, found: Reservation | None) -> Reservation | None:
    """The caller's reservation while it is open, as it was found inside the lock of its level."""
    if reservation_id is None:
        return None
    if found is None:
        raise NotFound("There is no such reservation.")
    if (found.part_id, found.site_id) != (level.part_id, level.site_id):
        raise BadInput("This reservation is for another part or site.", code="other-reservation")
    return found if found.ended_at is None else None


def _never_there(part_id: int, site_id: int, quantity: Decimal) -> Exception:
    part = Part.objects.filter(pk=part_id).first()
    if part is None:
        return NotFound("There is no such part.")
    positive(as_decimal(quantity, "quantity"), part.unit)
    return not_free(part, site_id, quantity, ZERO, [], [])


def _only(there: list[Place], bin_id: int | None, lot_id: int | None) -> str:
    codes = [f"bin {p.bin}" for p in there if p.bin_id == bin_id][:1] if bin_id else []
    lots = [f"lot {p.lot}" for p in there if p.lot_id == lot_id][:1] if lot_id else []
    return ", ".join([*codes, *lots]) or ("that place" if bin_id or lot_id else "")


def _sum(chosen: list[Place]) -> Decimal:
    return sum((p.on_hand for p in chosen), ZERO)


def _sum_of(rows: QuerySet[Movement]) -> Decimal:
    return sum(rows.values_list("quantity", flat=True), ZERO)
