"""The customer answers by link while the office revises, withdraws or revokes, and twice at once. On both databases; each
with a control that fails when the lock is out."""

from __future__ import annotations

import time
import uuid
from decimal import Decimal

import pytest

from jobs.cards.models import JobCard, Stage
from jobs.estimates import actions as estimates
from jobs.estimates.actions import answers as recording
from jobs.estimates.actions import limit
from jobs.estimates.models import Estimate, GoAhead
from jobs.machines import actions as machines
from jobs.replies import actions, queries
from jobs.replies.models import CustomerLink, Reply
from tests.factories import estimates as quote
from tests.factories import replies as make
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def store(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def reply(link, *, yes: bool = True, once: uuid.UUID | None = None):
    said = {line.pk: yes for line in link.estimate.lines.all()}
    once = once or uuid.uuid4()
    return lambda: actions.answer(link.pk, once=once, seen=0, answers=said, said_by="Niamh Tolan", address="192.0.2.7")


def unlocked(model, pk, expect, **filters):
    """`claim` without its lock."""
    return model.objects.get(pk=pk, **filters)


def slow(link_id):
    row = CustomerLink.objects.select_related("made_by", "estimate").get(pk=link_id)
    time.sleep(0.2)
    return row


def slowly(monkeypatch) -> None:
    """Both have looked before either writes, unless a lock keeps them apart."""
    check = queries.last_word

    def looked(estimate):
        found = check(estimate)
        time.sleep(0.2)
        return found

    monkeypatch.setattr(queries, "last_word", looked)


def test_signer_against_reviser(owner):
    """Either the yes came first and is on the revision it was said to, or it is refused: never a yes to what was superseded."""
    came = 0
    for n in range(6):
        link = make.link(owner, quote.issued(owner, quote.card_with_work(owner, n)))
        draft = estimates.new_revision(link.estimate_id, by=owner)
        results = race([reply(link), lambda draft=draft: estimates.issue_estimate(draft.pk, None, by=owner)])
        assert outcomes(results[1:]) == {"done": 1}, results
        superseded = Estimate.objects.get(pk=link.estimate_id).superseded_at
        said = GoAhead.objects.filter(estimate=link.estimate_id).first()
        if said is None:
            assert outcomes(results[:1]) == {"refused": 1}, results
        else:
            came += 1
            assert said.recorded_at <= superseded
            assert Reply.objects.get(go_ahead=said).link == link
    assert came < 7


def revise_between(owner, monkeypatch) -> tuple[list, CustomerLink]:
    """The signer has looked and waits a little before writing; the reviser comes in between."""
    link = make.link(owner, quote.issued(owner, quote.card_with_work(owner, 1)))
    draft = estimates.new_revision(link.estimate_id, by=owner)
    slowly(monkeypatch)

    def revise():
        time.sleep(0.08)
        return estimates.issue_estimate(draft.pk, None, by=owner)

    return race([reply(link), revise]), link


@pytest.mark.postgres
def test_a_signer_who_came_first_is_waited_for(owner, monkeypatch):
    results, link = revise_between(owner, monkeypatch)
    assert outcomes(results) == {"done": 2}, results
    assert GoAhead.objects.get().recorded_at <= Estimate.objects.get(pk=link.estimate_id).superseded_at


@pytest.mark.postgres
def test_control_without_the_lock_a_yes_comes_to_what_was_superseded(owner, monkeypatch):
    monkeypatch.setattr(actions, "_locked", slow)
    monkeypatch.setattr(recording, "claim", unlocked)
    monkeypatch.setattr(recording, "refuse_unanswerable", lambda estimate: None)
    results, link = revise_between(owner, monkeypatch)
    assert outcomes(results) == {"done": 2}, results
    assert GoAhead.objects.get().recorded_at > Estimate.objects.get(pk=link.estimate_id).superseded_at


def test_opened_and_answered_twice_at_once_there_is_one_answer(owner, monkeypatch):
    slowly(monkeypatch)
    link = make.link(owner, quote.issued(owner, quote.card_with_work(owner, 1)))
    results = race([reply(link, yes=bool(n % 2)) for n in range(6)])
    assert outcomes(results) == {"done": 1, "refused": 5}, results
    assert (GoAhead.objects.count(), Reply.objects.count()) == (1, 1)
    stage = Stage.objects.get(card=link.estimate.card_id)
    assert (stage.go_ahead_at is None) != (stage.declined_at is None)


@pytest.mark.postgres
def test_control_without_the_lock_there_are_several(owner, monkeypatch):
    monkeypatch.setattr(actions, "_locked", slow)
    monkeypatch.setattr(recording, "claim", unlocked)
    link = make.link(owner, quote.issued(owner, quote.card_with_work(owner, 1)))
    results = race([reply(link) for _ in range(4)])
    assert outcomes(results)["done"] > 1, results
    assert GoAhead.objects.count() > 1


def test_one_page_sent_many_times_at_once_is_one_answer(owner):
    link = make.link(owner, quote.issued(owner, quote.card_with_work(owner, 1)))
    results = race([reply(link, once=uuid.uuid4())] * 8)
    assert outcomes(results) == {"done": 8}, results
    assert len({r.pk for r in results}) == 1
    assert (GoAhead.objects.count(), Reply.objects.count()) == (1, 1)


def test_signer_against_who_revokes_or_withdraws(owner):
    for n, close in enumerate(
        (
            lambda link: actions.revoke_link(link.pk, by=owner),
            lambda link: estimates.withdraw_estimate(link.estimate_id, by=owner, reason="Wrong engine"),
        )
        * 2
    ):
        link = make.link(owner, quote.issued(owner, quote.card_with_work(owner, n)))
        results = race([reply(link), lambda link=link, close=close: close(link)])
        told = outcomes(results)
        assert set(told) <= {"done", "refused"}, results
        link.refresh_from_db()
        estimate = Estimate.objects.get(pk=link.estimate_id)
        said = GoAhead.objects.filter(estimate=estimate).first()
        if estimate.withdrawn_at:
            assert said is None
        if said and link.revoked_at:
            assert said.recorded_at <= link.revoked_at


def test_link_and_telephone_at_once_both_count_once(owner):
    """The office writes down a no by telephone while the link says yes: one of them is first, and the link never overrules."""
    for n in range(4):
        link = make.link(owner, quote.issued(owner, quote.card_with_work(owner, n)))
        said = {line.pk: False for line in link.estimate.lines.all()}
        results = race([reply(link), lambda link=link, said=said: quote.say(owner, link.estimate, said)])
        assert outcomes(results[1:]) == {"done": 1}, results
        last = GoAhead.objects.filter(estimate=link.estimate_id).order_by("-id").first()
        assert last.how == "phone"
        assert set(make.standing(link.estimate).values()) == {"declined"}


def notices(owner, many: int) -> list[int]:
    """So many issued notices of 80 each, on one card of a customer with a limit of 100."""
    customer = quote.customer()
    machines.edit_customer(customer.pk, None, by=owner, extra_work_limit=Decimal(100))
    card, *_ = quote.job(owner, customer)
    made = []
    for n in range(many):
        draft = quote.draft(owner, card, kind="additional")
        for line in draft.lines.all():
            estimates.remove_line(line.pk, None, by=owner)
        estimates.add_line(draft.pk, None, by=owner, text=f"Weld {n}", unit_price=Decimal(80))
        made.append(estimates.issue_estimate(draft.pk, None, by=owner).pk)
    return made


def use_at_once(owner, monkeypatch) -> list:
    check = limit.queries.limit_on

    def slowly(card):
        found = check(card)
        time.sleep(0.2)
        return found

    made = notices(owner, 4)
    monkeypatch.setattr(limit.queries, "limit_on", slowly)
    return race([lambda pk=pk: estimates.go_on_within_limit(pk, by=owner) for pk in made])


def test_two_notices_at_once_do_not_use_the_same_limit(owner, monkeypatch):
    assert outcomes(use_at_once(owner, monkeypatch)) == {"done": 1, "refused": 3}
    assert sum(g.limit_used for g in GoAhead.objects.filter(how="limit")) == 80


@pytest.mark.postgres
def test_control_without_the_lock_the_limit_is_overdrawn(owner, monkeypatch):
    monkeypatch.setattr(limit, "lock_card", lambda pk: JobCard.objects.get(pk=pk))
    results = use_at_once(owner, monkeypatch)
    assert outcomes(results)["done"] > 1, results
    assert sum(g.limit_used for g in GoAhead.objects.filter(how="limit")) > 100
