"""The chore run by many at once: one list and one mail a person, and a control without the lock."""

from __future__ import annotations

from functools import partial
from types import SimpleNamespace

import pytest

from jobs.alerts import actions, gathering
from jobs.alerts.models import Alert, DailyList, Watch
from shop.kernel import clock
from shop.people.models import Person
from shop.trail.models import OutboxRow
from tests.factories.alerts import expires_in, runs_low
from tests.factories.desk import scene
from tests.race.racing import outcomes, race

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]


@pytest.fixture
def found(stores):
    shop = scene()
    runs_low(shop.gasket)
    expires_in(shop.tube, 3)
    Person.objects.filter(pk=stores.pk).update(email="t@saltmarsh.example")
    stores.refresh_from_db()
    actions.choose_mail("daily", None, by=stores)
    Watch.objects.create(pk=1)
    return gathering.gather(clock.today())


def test_eight_at_once_make_one_list_and_one_mail(stores, found):
    results = race([partial(actions.keep, found)] * 8)
    assert outcomes(results) == {"done": 8}
    assert DailyList.objects.filter(person=stores).count() == 1
    assert Alert.objects.count() == len(found)
    assert OutboxRow.objects.filter(topic="mail.send").count() == 1


def test_without_the_lock_they_run_into_each_other(stores, found, monkeypatch):
    def unlocked():
        return SimpleNamespace(pk=1, _meta=Watch._meta, save=lambda **_: None, day=None, looked_at=None)

    monkeypatch.setattr(actions, "_lock", unlocked)
    results = race([partial(actions.keep, found)] * 8)
    assert outcomes(results) != {"done": 8}, "the constraint alone would let the day's work of the others fail"


def test_set_aside_and_a_look_at_once_agree_on_the_count(stores, found):
    actions.keep(found)
    pks = list(Alert.objects.values_list("pk", flat=True))
    works = [partial(actions.set_aside, pk, by=stores) for pk in pks] + [partial(actions.keep, found)] * 3
    assert outcomes(race(works)) == {"done": len(works)}
    assert DailyList.objects.get(person=stores).waiting == 0
