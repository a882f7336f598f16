"""Hours that were never estimated are priced by the class of whoever booked them, as it was then."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest

from jobs.invoices import actions
from jobs.timebook import actions as timebook
from jobs.timebook.models import TimeBooking
from shop.business import actions as business
from shop.kernel import clock
from shop.people.actions import staff
from tests.factories import estimates as quote
from tests.factories import invoices as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def classes(owner, mechanic, mechanic2):
    """Jory is a master at 90 an hour, Brann an apprentice at 45; the general rate is 68."""
    quote.shop(owner)
    day = clock.today() - timedelta(days=400)
    for person, name, price in ((mechanic, "master", "90"), (mechanic2, "apprentice", "45")):
        staff.edit_person(person.pk, None, by=owner, labour_class=name)
        person.refresh_from_db()
        business.add_labour_rate(per_hour=D(price), valid_from=day, labour_class=name, by=owner)


def looked_at(owner, **more):
    """A stage that needs no go-ahead and is on no estimate."""
    card = quote.card(owner)
    return card, quote.stage(owner, card, "Find out why", kind="strip", needs_go_ahead=False, **more)


def lines(invoice):
    return [(x.quantity, x.unit_price, x.net, x.detail) for x in invoice.lines.filter(kind="labour")]


def test_a_line_for_each_class_whose_rate_differs(owner, mechanic, mechanic2, classes):
    card, stage = looked_at(owner)
    make.work(owner, stage, "2", who=mechanic)
    make.work(owner, stage, "1.5", who=mechanic2)
    make.work(owner, stage, "1", who=owner)  # of no class
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    assert sorted(lines(draft)) == [
        (1, 68, 68, ""), (D("1.5"), 45, D("67.50"), "apprentice"), (2, 90, 180, "master"),
    ]  # fmt: skip
    actions.issue_invoice(draft.pk, None, by=owner)
    make.work(owner, stage, "0.5", who=mechanic2)
    again = actions.draft_invoice(by=owner, card_id=card.pk)
    assert [x[:3] for x in lines(again)] == [(D("0.5"), 45, D("22.50"))]


def test_history_keeps_the_class_of_then(owner, mechanic, mechanic2, classes):
    card, stage = looked_at(owner)
    make.work(owner, stage, "2", who=mechanic2)
    staff.edit_person(mechanic2.pk, None, by=owner, labour_class="master")
    row = TimeBooking.objects.get()
    assert row.labour_class == "apprentice"
    fixed = timebook.correct(row.pk, by=owner, break_minutes=30, reason="Had lunch")
    assert fixed.labour_class == "apprentice"
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    assert [x[:3] for x in lines(draft)] == [(D("1.5"), 45, D("67.50"))]


def test_a_credited_line_is_billed_again_by_its_class(owner, mechanic, mechanic2, classes):
    card, stage = looked_at(owner)
    make.work(owner, stage, "2", who=mechanic)
    make.work(owner, stage, "1", who=mechanic2)
    first = actions.issue_invoice(actions.draft_invoice(by=owner, card_id=card.pk).pk, None, by=owner)
    dear = first.lines.get(unit_price=90)
    actions.credit_note(first.pk, by=owner, reason="Too much", quantities={dear.pk: D("0.5")})
    again = actions.draft_invoice(by=owner, card_id=card.pk)
    assert [x[:3] for x in lines(again)] == [(D("0.5"), 90, 45)]


def test_agreed_hours_stay_as_agreed(owner, mechanic, classes):
    card = quote.card(owner)
    stage = quote.stage(owner, card, standard_hours=D(2), kind="strip")
    quote.agreed(owner, card)
    make.work(owner, stage, "3", who=mechanic)
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    assert [x[:3] for x in lines(draft)] == [(3, 68, 204)]


def test_what_the_owner_charges_all_the_same_is_split_as_well(owner, mechanic, mechanic2, classes):
    card = quote.card(owner)
    stage = quote.stage(owner, card, "Straighten the rail", kind="strip")
    make_free = quote.stage(owner, card, "Look", kind="strip", needs_go_ahead=False)
    quote.agreed(owner, card, but=(1,))
    make.work(owner, make_free, "1", who=owner)
    from jobs.cards.models import Stage

    Stage.objects.filter(pk=stage.pk).update(started_at=clock.now(), declined_at=None, needs_go_ahead=True)
    make.work(owner, stage, "1", who=mechanic)
    make.work(owner, stage, "2", who=mechanic2)
    draft = actions.draft_invoice(by=owner, card_id=card.pk)
    actions.charge_unagreed(draft.pk, None, by=owner, kind="labour", stage_id=stage.pk, reason="Agreed on the quay")
    charged = draft.lines.exclude(not_agreed="")
    assert sorted((x.quantity, x.unit_price) for x in charged) == [(1, 90), (2, 45)]
