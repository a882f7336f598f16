"""Numbers without gaps, whoever opens cards at once and whatever is rolled back."""

from __future__ import annotations

from functools import partial

import pytest
from django.db import OperationalError

from jobs.cards.models import JobCard
from shop.kernel import clock, writing
from shop.numbering import actions as numbering
from shop.numbering.models import Counter
from tests.factories.cards import a_card, a_machine
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)

CLIENTS, EACH = 50, 20


class Crash(Exception):
    pass


def client(office, machine_id, n, each):
    """Opens `each` cards, of which every tenth, third and sixth (30 %) is rolled back after its number was taken."""

    def open_one(crashes):
        card = a_card(office, machine_id=machine_id)
        if crashes:
            raise Crash
        return card.number

    def work():
        done = i = 0
        while i < each:
            try:
                writing.run(partial(open_one, (n + i) % 10 in (0, 3, 6)))
                done += 1
            except Crash:
                pass
            except OperationalError as error:
                # waited too long for the counter: the API answers 409 "in-progress" and the client tries again
                if getattr(error.__cause__, "sqlstate", "") != "55P03":
                    raise
                continue
            i += 1
        return done

    return work


def numbers():
    year = f"{clock.today().year % 100:02d}-"
    return sorted(int(n.removeprefix(year)) for n in JobCard.objects.values_list("number", flat=True))


def test_fifty_clients_and_thirty_percent_rolled_back(office):
    machine = a_machine()
    results = race([client(office, machine.pk, n, EACH) for n in range(CLIENTS)])
    assert outcomes(results) == {"done": CLIENTS}, [r for r in results if isinstance(r, Exception)][:3]
    opened = sum(results)
    assert opened == CLIENTS * EACH * 7 // 10
    assert numbers() == list(range(1, opened + 1))
    assert Counter.objects.get(series="card").last == opened


@pytest.mark.postgres
def test_control_without_the_lock_numbers_clash(office, monkeypatch):
    def unlocked(series, year, many=1):
        Counter.objects.bulk_create([Counter(series=series, year=year)], ignore_conflicts=True)
        counter = Counter.objects.get(series=series, year=year)
        counter.last += many
        counter.save(update_fields=["last"])
        return counter.last - many + 1

    monkeypatch.setattr(numbering, "take", unlocked)
    machine = a_machine()
    results = race([client(office, machine.pk, n, 5) for n in range(10)])
    # two took one number, and the table refused the second
    assert any(getattr(r, "code", "") == "saved-meanwhile" for r in results)
