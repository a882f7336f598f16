"""Refusals of this room in words: how much is free, where, who the rest is kept for, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from inventory.parts.models import Part
from shop.kernel import units
from shop.kernel.decimals import plain
from shop.kernel.errors import NeedsOverride, Refused

from .choosing import Place
from .models import Reservation

SHOWN = 4  # bins and cards named in one sentence


def words(quantity: Decimal, part: Part) -> str:
    """A quantity as it is said: "2", "12.5 ml". Pieces go without a unit."""
    sign = units.unit(part.unit).symbol
    return plain(quantity) if part.unit == "C62" else f"{plain(quantity)} {sign}"


def kept(part: Part, site_id: int, *, but: int | None = None) -> list[Reservation]:
    """Open reservations of others, the soonest wanted first."""
    rows = Reservation.objects.filter(part=part, site_id=site_id, ended_at__isnull=True).exclude(pk=but)
    return sorted(rows, key=lambda r: (r.wanted_on or date.max, r.pk))


def not_free(
    part: Part,
    site_id: int,
    wanted: Decimal,
    free: Decimal,
    usable: Sequence[Place],
    expired: Sequence[Place],
    *,
    own: int | None = None,
    only: str = "",
    doing: str = "Draw",
) -> Refused:
    """`wanted` is more than the `free` that may be taken. `usable` and `expired` say what lies where; `only` names the
    bin or lot that was asked for."""
    others = kept(part, site_id, but=own)
    sentences = [] if expired and not usable else [_first(part, free, usable, only)]
    if others:
        sentences.append(f"{_kept_for(part, others)}.")
    stale = sum((p.on_hand for p in expired), Decimal(0))
    facts: dict[str, Any] = {
        "wanted": plain(wanted),
        "free": plain(free),
        "places": [{"bin": p.bin, "lot": p.lot, "on_hand": plain(p.on_hand)} for p in usable],
        "kept_for": [{"label": r.label, "quantity": plain(r.quantity)} for r in others],
    }
    if stale:
        days = ", ".join(f"lot {p.lot} in bin {p.bin} on {_day(p.expires_on)}" for p in expired[:SHOWN])
        all_of_it = f"All of {part.number} that lies{f' in {only}' if only else ' here'} has expired"
        sentences.insert(
            len(sentences) if usable else 0,
            f"{words(stale, part)} more expired: {days}." if usable else f"{all_of_it}: {words(stale, part)}, {days}.",
        )
        facts["expired"] = [{"bin": p.bin, "lot": p.lot, "on_hand": plain(p.on_hand)} for p in expired]
    take = f"{doing} {words(free, part)}, or" if free > 0 else "Order some, or"
    if others:
        ask = (
            "take what is kept and tell the stores: they can free it"
            if free > 0
            else "ask the stores to free what is kept"
        )
    elif only:
        ask = "take it from another bin or lot"
    else:
        ask = "look whether it lies somewhere else and have it counted"
    sentences.append(f"{take} {ask}.")
    if stale and wanted <= free + stale and doing == "Draw":
        sentences.append("An owner may let an expired lot be used and says why.")
        return NeedsOverride(" ".join(sentences), code="expired", **facts)
    return Refused(" ".join(sentences), code="not-enough", **facts)


def _day(day: date | None) -> str:
    """ "18 Nov 2026" """
    return f"{day.day} {day:%b %Y}" if day else ""


def breaks_promises(part: Part, site_id: int, left: Decimal, reserved: Decimal) -> Refused:
    """What would be `left` is less than what is `reserved`."""
    others = kept(part, site_id)
    return Refused(
        f"That would leave {words(left, part)} of {part.number}, and {_kept_for(part, others)}. "
        f"Free {words(reserved - left, part)} of what is kept first, or take less.",
        code="kept-for-others",
        left=plain(left),
        kept_for=[{"label": r.label, "quantity": plain(r.quantity)} for r in others],
    )


def _first(part: Part, free: Decimal, usable: Sequence[Place], only: str) -> str:
    there = f" in {only}" if only else ""
    if not usable:
        return f"None of {part.number} lies{there or ' here'}."
    bins: dict[str, Decimal] = {}
    for p in usable:
        bins[p.bin] = bins.get(p.bin, Decimal(0)) + p.on_hand
    where = ", ".join(f"{words(q, part)} in bin {code}" for code, q in list(bins.items())[:SHOWN])
    more = f" and {len(bins) - SHOWN} more" if len(bins) > SHOWN else ""
    if free <= 0:
        return f"None of {part.number} is free{there}: {where}{more}."
    verb = "is" if free == 1 and part.unit == "C62" else "are"
    return f"Only {words(free, part)} of {part.number} {verb} free{there}: {where}{more}."


def _kept_for(part: Part, others: Sequence[Reservation]) -> str:
    """ "1 is kept for card 26-0031, 2 for card 26-0040" """
    first, *more = others
    is_ = "is" if first.quantity == 1 and part.unit == "C62" else "are"
    named = [f"{words(first.quantity, part)} {is_} kept for {first.label}"]
    named += [f"{words(r.quantity, part)} for {r.label}" for r in more[: SHOWN - 1]]
    rest = f" and {len(others) - SHOWN} more" if len(others) > SHOWN else ""
    return ", ".join(named) + rest
