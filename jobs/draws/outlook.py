"""What happens to whom when something is moved from one card's need to another: worked out before anybody presses."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from shop.kernel.decimals import plain
from shop.kernel.errors import field_error
from shop.kernel.quantity import positive

from .allotting import Said
from .models import Need
from .supply import Situation, Supply, kept_for

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Effect:
    """What a need gets now, and what it would get afterwards."""

    need: Need
    before: Supply
    after: Supply

    @property
    def loses(self) -> bool:
        """Less is kept, free or coming for it, or it comes later."""
        if self.after.short != self.before.short:
            return self.after.short > self.before.short
        if self.before.sure != self.after.sure:
            return self.before.sure
        was, now = self.before.by, self.after.by
        return now is not None and (was is None or now > was)

    @property
    def late_days(self) -> int:
        """By how many days its last part then comes after the day its card is promised for."""
        promised, by = self.need.stage.card.promised_on, self.after.by
        return max((by - promised).days, 0) if promised and by else 0


def of_move(
    its: Situation, need_id: int, from_need_id: int, quantity: Decimal, order_line_id: int | None = None
) -> list[Effect]:
    """All needs of the part for which something changes, the one that gets it first."""
    before = its.supplies()
    after = moved(its, need_id, from_need_id, quantity, order_line_id).supplies()
    changed = [Effect(its.needs[pk], before[pk], after[pk]) for pk in before if before[pk] != after[pk]]
    return sorted(changed, key=lambda e: (e.need.pk != need_id, e.need.pk != from_need_id, e.need.pk))


def moved(its: Situation, need_id: int, from_need_id: int, quantity: Decimal, order_line_id: int | None) -> Situation:
    """The situation as it would be then."""
    if order_line_id is None:
        kept = dict(its.kept)
        kept[from_need_id] -= quantity
        kept[need_id] += quantity
        return replace(its, kept=kept)
    said, less = [], quantity
    for each in its.said:
        if (each.need_id, each.line_id) == (from_need_id, order_line_id):
            rest = max(each.quantity - less, ZERO)
            less -= each.quantity - rest
            if not rest:
                continue
            each = replace(each, quantity=rest)
        said.append(each)
    return replace(its, said=[*said, Said(need_id, order_line_id, quantity)])


def check_move(its: Situation, need: Need, loser: Need, quantity: Decimal, order_line_id: int | None) -> Decimal:
    """The quantity, when so much can be moved in this situation. Raises BadInput, Refused."""
    quantity = positive(quantity, need.part.unit)
    here, there = (need.part_id, need.stage.card.site_id), (loser.part_id, loser.stage.card.site_id)
    if here != there:
        raise field_error("from_need_id", "That is another part, or lies at another site.", code="other-part")
    has = its.supplies()[loser.pk].of(order_line_id) if loser.pk in its.needs else kept_for(loser)
    if quantity > has:
        what = "has" if order_line_id is None else "gets of that order"
        raise field_error(
            "quantity", f"Card {loser.stage.card.number} {what} {plain(has)}. No more can be moved.", code="too-much"
        )
    missing = need.quantity - need.drawn - kept_for(need)
    if order_line_id is not None and need.pk in its.needs:
        own = its.supplies()[need.pk]
        missing -= sum((min(s.quantity, own.of(s.line_id)) for s in its.said if s.need_id == need.pk), ZERO)
    if quantity > missing:
        raise field_error(
            "quantity",
            f"Card {need.stage.card.number} lacks {plain(max(missing, ZERO))}. Move no more than that.",
            code="more-than-missing",
        )
    return quantity
