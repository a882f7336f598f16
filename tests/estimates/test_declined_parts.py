"""A part that the customer declined is neither kept nor drawn, also when the rest of its stage goes ahead."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from inventory.stock.models import Reservation, StockLevel
from jobs.draws import actions as draws
from jobs.draws import queries
from jobs.draws.models import Draw, Need
from jobs.estimates import actions
from jobs.estimates.models import LineKind
from tests.factories import estimates as make
from tests.factories.stock import bin_, lot

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(owner):
    """A card in the shop whose first stage needs two ring sets, of which three lie there; its estimate is issued."""
    card, fit, _test, rings = make.job(owner)
    lot(owner, rings.pk, "3", at=bin_(owner, at=card.site))
    return make.issued(owner, card), fit, rings


def part_line(estimate):
    return estimate.lines.get(kind=LineKind.PART)


def say(by, estimate, *, parts):
    make.say(by, estimate, {x.pk: parts if x.kind == LineKind.PART else True for x in estimate.lines.all()})


def kept():
    return sum(Reservation.objects.filter(ended_at__isnull=True).values_list("quantity", flat=True), D(0))


def test_what_was_kept_before_is_given_back_and_the_card_says_why(job, owner, client):
    estimate, fit, rings = job
    draws.keep(Need.objects.get().pk, by=owner)
    assert kept() == 2
    say(owner, estimate, parts=False)
    need = Need.objects.get()
    assert (need.declined_ref, need.declined_at is None) == (f"estimate {estimate.number} revision 1", False)
    assert (kept(), StockLevel.objects.get(part=rings).reserved) == (0, 0)
    fit.refresh_from_db()
    assert fit.go_ahead_at is not None  # the work itself goes ahead
    client.force_login(owner)
    page = client.get(f"/cards/{fit.card_id}/").content.decode()
    assert "declined by the customer" in page
    assert need.declined_ref in page
    assert f"/stages/{fit.pk}/draw/?part={rings.number}" not in page


def test_nobody_draws_keeps_or_removes_it(job, api, mechanic, owner):
    estimate, fit, rings = job
    say(owner, estimate, parts=False)
    client, need = api(mechanic), Need.objects.get()
    refused = client.post("draws/", {"stage_id": fit.pk, "part_id": rings.pk, "quantity": "1"})
    assert (refused.status_code, refused.json()["type"].rsplit("/", 1)[-1]) == (409, "part-declined")
    assert f"The customer declined {rings.number}" in refused.json()["detail"]
    assert client.post(f"needs/{need.pk}/keep/").json()["type"].endswith("/part-declined")
    assert client.delete(f"needs/{need.pk}/").json()["type"].endswith("/part-declined")
    assert client.get(f"needs/{need.pk}/").json()["declined_ref"] == need.declined_ref
    assert not Draw.objects.exists()


def test_it_is_not_missing_and_not_demand_any_more(job, owner):
    estimate, fit, _rings = job
    assert queries.missing([fit.card_id]) == {fit.card_id: 1}
    say(owner, estimate, parts=False)
    assert queries.missing([fit.card_id]) == {}
    assert list(queries.known_demand()) == []


def test_a_later_yes_brings_it_back_and_keeps_it(job, owner):
    estimate, fit, rings = job
    say(owner, estimate, parts=False)
    make.say(owner, estimate, {part_line(estimate).pk: True})
    need = Need.objects.get()
    assert (need.declined_at, need.declined_ref) == (None, "")
    assert kept() == 2
    draws.draw(by=owner, stage_id=fit.pk, part_id=rings.pk, quantity=D(2))
    assert kept() == 0


def test_what_was_drawn_before_stays_drawn(job, owner):
    estimate, fit, rings = job
    say(owner, estimate, parts=True)
    row = draws.draw(by=owner, stage_id=fit.pk, part_id=rings.pk, quantity=D(1))
    make.say(owner, estimate, {part_line(estimate).pk: False})
    need = Need.objects.get()
    assert (need.drawn, need.declined_at is None, kept()) == (1, False, 0)
    draws.put_back(row.pk, by=owner, quantity=D(1))
    assert Need.objects.get().drawn == 0


def test_an_open_answer_declines_nothing(job, owner):
    estimate, _fit, _rings = job
    make.say(owner, estimate, {x.pk: True for x in estimate.lines.exclude(kind=LineKind.PART)})
    assert Need.objects.get().declined_at is None
    assert kept() == 2


def test_agreed_in_another_document_of_the_card_it_stays(job, owner):
    """Two of them were agreed; two more in a later notice are not. The first two are still fitted."""
    estimate, fit, rings = job
    say(owner, estimate, parts=True)
    draws.add_need(by=owner, stage_id=fit.pk, part_id=rings.pk, quantity=D(2))
    more = actions.draft_estimate(by=owner, card_id=fit.card_id, kind="additional")
    assert more.lines.filter(kind="part").values_list("stage", "part", "quantity").get() == (fit.pk, rings.pk, 2)
    actions.issue_estimate(more.pk, None, by=owner)
    make.say(owner, more, {x.pk: False for x in more.lines.all()})
    assert Need.objects.get().declined_at is None
    before = fit.go_ahead_ref
    fit.refresh_from_db()
    assert (fit.go_ahead_at is not None, fit.declined_at, before) == (True, None, "")
    assert fit.go_ahead_ref == f"estimate {estimate.number} revision 1", "the work was agreed there"


def test_a_part_in_a_notice_does_not_decide_the_work_of_its_stage(job, owner):
    """The estimate is unanswered. A yes to a gasket besides is no go-ahead for the hours; a no to it stops nothing."""
    estimate, fit, _rings = job
    make.need(owner, fit, make.part(owner, "GKT-9", "Gasket"), "1")
    notice = actions.issue_estimate(make.draft(owner, fit.card, kind="additional").pk, None, by=owner)
    answers = {x.pk: True for x in notice.lines.all()}
    make.say(owner, notice, answers)
    fit.refresh_from_db()
    assert (fit.go_ahead_at, fit.declined_at) == (None, None)
    say(owner, estimate, parts=True)
    fit.refresh_from_db()
    agreed = fit.go_ahead_at
    assert agreed is not None
    make.say(owner, notice, dict.fromkeys(answers, False))
    fit.refresh_from_db()
    assert (fit.go_ahead_at, fit.declined_at) == (agreed, None)
    assert set(Need.objects.filter(declined_at__isnull=False).values_list("part__number", flat=True)) == {"GKT-9"}


def test_what_we_spoiled_is_asked_of_nobody(job, owner):
    estimate, fit, rings = job
    say(owner, estimate, parts=True)
    row = draws.draw(by=owner, stage_id=fit.pk, part_id=rings.pk, quantity=D(2))
    draws.spoil(row.pk, by=owner, quantity=D(1), note="Torn at a dowel")
    assert Need.objects.get().quantity == 3
    assert not make.draft(owner, fit.card, kind="additional").lines.exists()


def test_left_out_of_the_next_revision_the_no_counts_no_longer(job, owner):
    estimate, _fit, _rings = job
    say(owner, estimate, parts=False)
    draft = actions.new_revision(estimate.pk, by=owner)
    actions.remove_line(part_line(draft).pk, None, by=owner)
    assert Need.objects.get().declined_at is not None  # a draft says nothing yet
    actions.issue_estimate(draft.pk, None, by=owner)
    assert Need.objects.get().declined_at is None


def test_kept_in_the_next_revision_the_no_stands(job, owner):
    estimate, _fit, _rings = job
    say(owner, estimate, parts=False)
    actions.issue_estimate(actions.new_revision(estimate.pk, by=owner).pk, None, by=owner)
    assert Need.objects.get().declined_at is not None
