"""The invented shop is made through the shop's own actions, once, and its books are right."""

from datetime import UTC, datetime

import pytest
from django.core.management import call_command
from django.db.models import Q

from inventory.stock.models import Movement
from jobs.cards import queries as cards
from jobs.estimates.models import GoAhead
from jobs.invoices.models import Invoice
from jobs.timebook.models import TimeBooking
from shop.business.models import Business
from shop.config import demo
from shop.kernel import clock
from shop.people.models import Person

pytestmark = pytest.mark.django_db

PINS = {m.username: f"49{n}3{n}7" for n, m in enumerate(demo.CAST)}


def test_the_demo_is_whole_and_can_be_loaded_twice():
    demo.load(password="harbour-light-26", pins=PINS)
    call_command("check_ledger")  # raises when a balance isn't the sum of its movements
    states = {str(cards.standing(card).words) for card in cards.cards()}
    assert {"Booked", "In the shop", "Finished", "Handed over", "Cancelled"} <= states
    waits = {cards.standing(card).waits.what for card in cards.cards()}
    assert len(waits) >= 4
    answers = [{a.accepted for a in word.lines.all()} for word in GoAhead.objects.prefetch_related("lines")]
    assert {True, False} in answers, "a customer says yes to some and no to some"
    numbers = sorted(Invoice.objects.exclude(kind="credit").exclude(number="").values_list("number", flat=True))
    by_year = {}
    for number in numbers:
        by_year.setdefault(number.rsplit("-", 1)[0], []).append(int(number.rsplit("-", 1)[1]))
    assert all(row == list(range(1, len(row) + 1)) for row in by_year.values()), by_year
    before = Invoice.objects.count()
    demo.load(password="harbour-light-26", pins=PINS)
    assert (Business.objects.count(), Invoice.objects.count()) == (1, before)


@pytest.mark.parametrize(
    "moment", ["2026-11-29 23:50", "2027-01-04 00:05"]
)  # a Sunday, a Monday before anybody is there
def test_the_story_is_whole_on_any_day_and_tells_nothing_of_the_future(moment):
    now = datetime.fromisoformat(moment).replace(tzinfo=UTC)
    with clock.at(now):
        demo.load(password="harbour-light-26", pins=PINS)
        call_command("check_ledger")
    assert not Movement.objects.filter(at__gt=now).exists()
    assert not TimeBooking.objects.filter(Q(started_at__gt=now) | Q(ended_at__gt=now)).exists()
    assert not Invoice.objects.filter(issued_at__gt=now).exists()
    assert not GoAhead.objects.filter(recorded_at__gt=now).exists()
    assert TimeBooking.objects.filter(ended_at__isnull=True, superseded_at__isnull=True).exists(), "a clock is running"
    deposits = Invoice.objects.filter(kind="deposit", issued_at__isnull=False)
    assert {x.settled_at is None for x in deposits} == {True, False}


def test_it_never_touches_a_real_shop():
    Person.objects.create(username="someone", name="Someone")
    with pytest.raises(demo.RealShop):
        demo.load(password="harbour-light-26", pins=PINS)
    assert not Business.objects.filter(is_sample=True).exists()
