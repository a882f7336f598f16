"""Two estimates of one card issued at once: one goes out. On both databases, with a control that fails without the lock."""

from __future__ import annotations

import time

import pytest

from jobs.cards.models import JobCard
from jobs.estimates import actions
from jobs.estimates.actions import issuing
from jobs.estimates.models import OPEN, Estimate
from tests.factories import estimates as quote
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)


def issue_both(owner, monkeypatch) -> tuple[list, JobCard]:
    """A new revision of what was withdrawn, and what was written after it."""
    first = quote.issued(owner, quote.card_with_work(owner, 1))
    actions.withdraw_estimate(first.pk, by=owner, reason="The wrong price list")
    drafts = [actions.new_revision(first.pk, by=owner).pk, quote.draft(owner, first.card).pk]
    asked = issuing.refuse_second

    def slowly(*args, **more) -> None:
        asked(*args, **more)
        time.sleep(0.1)

    monkeypatch.setattr(issuing, "refuse_second", slowly)
    return race([lambda pk=pk: actions.issue_estimate(pk, None, by=owner) for pk in drafts]), first.card


def test_one_of_them_goes_out(owner, monkeypatch):
    results, card = issue_both(owner, monkeypatch)
    assert outcomes(results) == {"done": 1, "refused": 1}, results
    assert Estimate.objects.filter(OPEN, card=card).count() == 1


@pytest.mark.postgres
def test_control_without_the_cards_lock_both_do(owner, monkeypatch):
    monkeypatch.setattr(issuing, "lock_card", lambda pk: JobCard.objects.get(pk=pk))
    results, card = issue_both(owner, monkeypatch)
    assert outcomes(results) == {"done": 2}, results
    assert Estimate.objects.filter(OPEN, card=card).count() == 2
