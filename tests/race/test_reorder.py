"""Two at one proposal, two runs at once: one of each, and a control without the lock that shows what it is for."""

from __future__ import annotations

from functools import partial

import pytest

from inventory.reorder import actions, planning
from inventory.reorder.models import Proposal
from shop.trail.models import TrailRow
from tests.factories.reorder import a_proposal, part_with_a_past
from tests.race.racing import outcomes, race

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]


def test_ten_order_the_same_proposal(stores):
    row = a_proposal(stores, past=(2, 1, 3, 2, 1, 4), left="0")
    results = race([partial(actions.order, row.pk, None, by=stores)] * 10)
    assert outcomes(results) == {"done": 1, "refused": 9}
    assert TrailRow.objects.filter(verb="proposal.ordered").count() == 1


def test_without_the_lock_it_is_ordered_more_than_once(stores, monkeypatch):
    row = a_proposal(stores, past=(2, 1, 3, 2, 1, 4), left="0")

    def unlocked(model, pk, expect, **filters):
        found = model.objects.get(pk=pk)
        found.part.number  # noqa: B018 - a moment in which the others look too
        return found

    monkeypatch.setattr(actions, "claim", unlocked)
    race([partial(actions.order, row.pk, None, by=stores)] * 10)
    assert TrailRow.objects.filter(verb="proposal.ordered").count() > 1


def test_two_runs_at_once_leave_one_set(stores):
    for n in range(3):
        part_with_a_past(stores, f"GKT-{n}", past=(2, 1, 3, 2, 1, 4), left="0")
    worked = planning.work_out()
    assert len(worked.drafts) == 3
    results = race([partial(actions.keep_run, worked, by=stores, event_id=n) for n in range(6)])
    assert outcomes(results) == {"done": 6}
    assert Proposal.objects.count() == 3
    assert Proposal.objects.values("run").distinct().count() == 1


def test_one_event_delivered_at_once_by_many_is_one_run(stores):
    part_with_a_past(stores, past=(2, 1, 3, 2, 1, 4), left="0")
    worked = planning.work_out()
    results = race([partial(actions.keep_run, worked, by=stores, event_id=7)] * 6)
    assert {getattr(r, "pk", r) for r in results} == {results[0].pk}
    assert Proposal.objects.count() == 1
