"""Additional work that the customer lets be done without asking, up to an amount."""

from __future__ import annotations

from jobs.cards.actions import lock_card
from shop.kernel import clock
from shop.kernel.errors import Refused
from shop.kernel.money import Money, format_money
from shop.kernel.versions import claim
from shop.kernel.writing import writes
from shop.people.models import Person

from .. import queries
from ..models import Estimate, GoAhead
from .answers import record_go_ahead, refuse_unanswerable


@writes
def go_on_within_limit(estimate_id: int, *, by: Person) -> GoAhead:
    """Go on with a notice of additional work without asking, since it lies within what is left of the customer's limit on
    this card. Recorded as such, with how much was used; its lines are billed as they stand, never more.

    What counts is the net of its lines that nobody answered, without what is optional; a discount on the whole is not counted
    in the shop's favour. The card is locked before it is reckoned, so two notices can't use the same money. Raises NotFound,
    Refused (code "not-additional", "no-limit", "limit-reached", "nothing-open", "declined-before", and what
    `record_go_ahead` refuses).
    """
    estimate = claim(Estimate, estimate_id, None)
    refuse_unanswerable(estimate)
    if estimate.kind != Estimate.Kind.ADDITIONAL:
        raise Refused(
            "Only a notice of additional work goes on without asking: the job itself is agreed.", code="not-additional"
        )
    card = lock_card(estimate.card_id)
    customer = card.customer
    limit = queries.limit_on(card)
    if limit.amount is None:
        raise Refused(
            f"{customer.name} wants to be asked about everything. Ask, then record the word.", code="no-limit"
        )
    lines = queries.within_limit(estimate)
    if not lines:
        raise Refused("Every line has its answer, or is optional: ask about the rest.", code="nothing-open")
    declined = next((x.stage for x in lines if x.stage and x.stage.declined_at), None)
    if declined:
        raise Refused(
            f"{customer.name} said no to stage {declined.position} “{declined.name}”. Ask again before it is done.",
            code="declined-before",
        )
    amount = sum((x.net for x in lines), queries.ZERO)
    told = {
        name: _told(value, estimate)
        for name, value in (("amount", amount), ("limit", limit.amount), ("left", limit.left))
    }
    if amount > limit.left or amount <= 0:
        raise Refused(
            "This notice comes to {amount} before tax; of the limit of {limit} on this card {left} are left. Ask, then record "
            "the word.".format(**told),
            code="limit-reached",
            amount=str(amount),
            left=str(limit.left),
        )
    note = "{amount} of {left} left of a limit of {limit}, before tax".format(**told)
    return record_go_ahead(
        estimate_id, by=by, answers={x.pk: True for x in lines}, how=GoAhead.How.LIMIT, said_by=customer.name[:120],
        said_at=clock.now(), note=note, limit=(amount, limit.amount),
    )  # fmt: skip


def _told(value: object, estimate: Estimate) -> str:
    return format_money(Money(value, estimate.currency), "en_GB")  # type: ignore[arg-type]
