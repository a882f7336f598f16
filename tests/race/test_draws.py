"""A part isn't drawn for what somebody finishes or takes off at this moment. With a control that fails when the lock is
out."""

from __future__ import annotations

import threading
from decimal import Decimal as D

import pytest

from inventory.stock import ledger
from jobs.cards import actions as cards
from jobs.draws import actions
from jobs.draws.actions import drawing
from jobs.draws.models import Draw
from shop.kernel import writing
from shop.kernel.statements import Joined
from tests.factories import parts, stock
from tests.factories.cards import a_card, a_stage
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def stage(office):
    return a_stage(a_card(office), chargeable=False)


@pytest.fixture
def shelf(stage, stores):
    return stock.bin_(stores, at=stage.card.site)


@pytest.fixture
def gasket(stores, shelf):
    made = parts.part(stores)
    stock.lot(stores, made.pk, "50", at=shelf)
    return made


def drawing_for(stage, part, by, then=lambda: None):
    def work():
        drawn = actions.draw(by=by, stage_id=stage.pk, part_id=part.pk, quantity=D(1))
        then()
        return drawn

    return lambda: writing.run(work)


def finish_the_card(stage, by):
    return cards.finish_card(stage.card_id, by=by)


def remove_the_stage(stage, by):
    return cards.remove_stage(stage.pk, None, by=by)


def ending(end, stage, by, ended: threading.Event, drawn: threading.Event):
    """End it, and commit only when the draw has had its chance."""

    def work():
        done = end(stage, by)
        ended.set()
        drawn.wait(1)
        return done

    return lambda: writing.run(work)


def against(end, stage, part, office, stores):
    ended, drawn = threading.Event(), threading.Event()

    def draw():
        ended.wait(10)
        done = drawing_for(stage, part, stores)()
        drawn.set()
        return done

    return race([ending(end, stage, office, ended, drawn), draw])


@pytest.mark.parametrize("end", [finish_the_card, remove_the_stage])
def test_a_draw_waits_for_who_ends_it_and_sees_that_it_has_ended(end, stage, gasket, office, stores):
    results = against(end, stage, gasket, office, stores)
    assert outcomes(results) == {"done": 1, "refused": 1}, results
    assert getattr(results[1], "code", "") in ("card-finished", "not-found"), results
    assert not Draw.objects.exists()
    assert list(ledger.wrong()) == []


@pytest.mark.postgres
@pytest.mark.parametrize("end", [finish_the_card, remove_the_stage])
def test_control_without_the_lock_it_is_drawn_for_what_has_ended(end, stage, gasket, office, stores, monkeypatch):
    locked = drawing._TAKEN_FOR
    monkeypatch.setattr(drawing, "_TAKEN_FOR", Joined(locked.sql, key=locked.key, **locked.tables))
    results = against(end, stage, gasket, office, stores)
    assert outcomes(results) == {"done": 2}
    assert Draw.objects.count() == 1


@pytest.mark.postgres
def test_who_ends_it_waits_for_a_draw_under_way(stage, gasket, office, stores):
    drawn, order = threading.Event(), []

    def held():
        drawn.set()
        ended.wait(0.5)
        order.append("drawn")

    ended = threading.Event()

    def finish():
        drawn.wait(10)
        finish_the_card(stage, office)
        order.append("finished")
        ended.set()

    results = race([drawing_for(stage, gasket, stores, held), finish])
    assert outcomes(results) == {"done": 2}
    assert order == ["drawn", "finished"]


@pytest.mark.postgres
def test_two_draws_for_one_stage_do_not_wait_for_each_other(stage, shelf, gasket, stores):
    other = parts.part(stores, "GKT-042")
    stock.lot(stores, other.pk, "5", at=shelf)
    meeting = threading.Barrier(2)

    def both():
        meeting.wait(5)  # inside both transactions at once

    results = race([drawing_for(stage, part, stores, both) for part in (gasket, other)])
    assert outcomes(results) == {"done": 2}, results


def test_many_draw_for_a_card_that_is_finished_meanwhile(stage, gasket, office, stores):
    works = [drawing_for(stage, gasket, stores) for _ in range(20)]
    results = race([*works[:10], lambda: finish_the_card(stage, office), *works[10:]])
    assert set(outcomes(results)) <= {"done", "refused"}, results
    assert Draw.objects.count() == outcomes(results)["done"] - 1
    assert list(ledger.wrong()) == []
