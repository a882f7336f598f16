"""Additional work within the customer's limit: gone on with without asking, recorded as such, stopped beyond it."""

from decimal import Decimal as D

import pytest
from django.db import IntegrityError, transaction

from jobs.cards import actions as cards
from jobs.cards.models import Stage
from jobs.estimates import actions, queries
from jobs.estimates.models import GoAhead
from jobs.machines import actions as machines
from shop.kernel.errors import BadInput, Refused
from shop.trail.models import TrailRow
from tests.factories import estimates as make

pytestmark = pytest.mark.django_db


def limited(owner, limit: str | None = "300"):
    """A card whose job is agreed, of a customer with a limit."""
    customer = make.customer()
    if limit is not None:
        machines.edit_customer(customer.pk, None, by=owner, extra_work_limit=D(limit))
    card, *_ = make.job(owner, customer)
    make.agreed(owner, card)
    return card


def notice(owner, card, *prices: str, optional: str = ""):
    """An issued notice of additional work at these prices."""
    draft = make.draft(owner, card, kind="additional")
    for line in draft.lines.all():
        actions.remove_line(line.pk, None, by=owner)
    for n, price in enumerate(prices):
        actions.add_line(draft.pk, None, by=owner, text=f"Weld crack {n}", unit_price=D(price))
    if optional:
        actions.add_line(draft.pk, None, by=owner, text="Paint it", unit_price=D(optional), optional=True)
    return actions.issue_estimate(draft.pk, None, by=owner)


def test_what_is_left_of_the_limit_may_be_used_without_asking(owner, office):
    card = limited(owner)
    first = notice(owner, card, "100", "20.50", optional="500")
    said = actions.go_on_within_limit(first.pk, by=office)
    assert (said.how, said.recorded_by, said.limit_used, said.limit_of) == ("limit", office, D("120.50"), D(300))
    assert said.note == "€120.50 of €300.00 left of a limit of €300.00, before tax"
    words = [queries.word(a) for a in queries.answers(first).values()]
    assert sorted(words) == ["accepted", "accepted", "open"], "what is optional waits for the customer"
    card.refresh_from_db()
    assert queries.limit_on(card).left == D("179.50")
    second = notice(owner, card, "179.51")
    with pytest.raises(Refused) as refused:
        actions.go_on_within_limit(second.pk, by=office)
    assert refused.value.code == "limit-reached"
    assert "€179.51 before tax; of the limit of €300.00 on this card €179.50 are left" in refused.value.message
    assert not GoAhead.objects.filter(estimate=second).exists()
    third = notice(owner, card, "179.50")
    assert actions.go_on_within_limit(third.pk, by=office).limit_used == D("179.50")
    assert queries.limit_on(card).left == 0
    told = TrailRow.objects.filter(verb="estimate.answered", by=office).order_by("id").last()
    assert (told.detail["how"], "of €179.50 left" in told.detail["note"]) == ("limit", True)


def test_each_card_has_the_whole_limit(owner):
    card = limited(owner)
    actions.go_on_within_limit(notice(owner, card, "300").pk, by=owner)
    other = make.card(owner, card.customer)
    make.stage(owner, other)
    make.agreed(owner, other)
    assert actions.go_on_within_limit(notice(owner, other, "300").pk, by=owner).limit_used == 300


@pytest.mark.parametrize(
    ("limit", "price", "code"),
    [
        (None, "1", "no-limit"),
        ("0", "1", "limit-reached"),
        ("300", "300.01", "limit-reached"),
        ("300", "0", "limit-reached"),
    ],
)
def test_beyond_it_work_stops_as_without(owner, limit, price, code):
    card = limited(owner, limit)
    with pytest.raises(Refused) as refused:
        actions.go_on_within_limit(notice(owner, card, price).pk, by=owner)
    assert refused.value.code == code


def test_not_for_the_job_itself_nor_for_what_was_declined(owner):
    card = limited(owner)
    job = queries.estimates(card_id=card.pk).get()
    with pytest.raises(Refused) as refused:
        actions.go_on_within_limit(job.pk, by=owner)
    assert refused.value.code == "not-additional"
    asked = notice(owner, card, "50")
    make.say(owner, asked, {asked.lines.get().pk: False})
    with pytest.raises(Refused) as refused:
        actions.go_on_within_limit(asked.pk, by=owner)
    assert refused.value.code == "nothing-open", "the customer's no stands"
    revised = actions.issue_estimate(actions.new_revision(asked.pk, by=owner).pk, None, by=owner)
    with pytest.raises(Refused) as refused:
        actions.go_on_within_limit(revised.pk, by=owner)
    assert refused.value.code == "nothing-open", "also after a revision"


def test_a_stage_the_customer_said_no_to_is_not_begun_by_the_limit(owner):
    card = limited(owner)
    stage = Stage.objects.filter(card=card).first()
    draft = make.draft(owner, card, kind="additional")
    for line in draft.lines.all():
        actions.remove_line(line.pk, None, by=owner)
    actions.add_line(draft.pk, None, by=owner, text="Again", unit_price=D(5), stage_id=stage.pk)
    issued = actions.issue_estimate(draft.pk, None, by=owner)
    cards.decline([stage.pk], ref="by hand", at=issued.issued_at, by=owner)
    with pytest.raises(Refused) as refused:
        actions.go_on_within_limit(issued.pk, by=owner)
    assert refused.value.code == "declined-before"


def test_a_revision_cannot_be_used_after_it_was_superseded(owner):
    card = limited(owner)
    old = notice(owner, card, "50")
    actions.issue_estimate(actions.new_revision(old.pk, by=owner).pk, None, by=owner)
    with pytest.raises(Refused) as refused:
        actions.go_on_within_limit(old.pk, by=owner)
    assert refused.value.code == "superseded"


def test_nobody_records_a_limit_by_hand(owner, api):
    card = limited(owner)
    asked = notice(owner, card, "50")
    with pytest.raises(BadInput):
        make.say(owner, asked, {asked.lines.get().pk: True}, how="limit")
    with pytest.raises(IntegrityError), transaction.atomic():
        GoAhead.objects.create(
            estimate=asked, how="phone", said_by="N", said_at=asked.issued_at, recorded_at=asked.issued_at, limit_used=5
        )
    for how in ("limit", "link"):
        body = {
            "how": how, "said_by": "N", "said_at": asked.issued_at.isoformat(),
            "answers": [{"line_id": asked.lines.get().pk, "accepted": True}],
        }  # fmt: skip
        assert api(owner).post(f"estimates/{asked.pk}/go-ahead/", body).status_code == 400


def test_over_pages_and_api(client, owner, office, mechanic, api):
    card = limited(owner)
    asked = notice(owner, card, "50")
    client.force_login(office)
    page = client.get(f"/estimates/{asked.pk}/").content.decode()
    assert "Go on within the limit" in page
    assert "€300.00" in page
    assert api(office).get(f"estimates/{asked.pk}/limit/").json() == {
        "currency": "EUR", "limit": "300.00", "used": "0.00", "left": "300.00", "open": "50.00",
    }  # fmt: skip
    assert api(mechanic).post(f"estimates/{asked.pk}/within-limit/").status_code == 403
    said = api(office).post(f"estimates/{asked.pk}/within-limit/")
    assert (said.status_code, said.json()["how"], said.json()["limit_used"]) == (201, "limit", "50.00")
    page = client.get(f"/estimates/{asked.pk}/").content.decode()
    assert "Go on within the limit" not in page
    assert "Within the limit agreed before" in page
    more = notice(owner, card, "250.01")
    page = client.get(f"/estimates/{more.pk}/").content.decode()
    assert "That is beyond it: ask the customer first." in page
    pressed = client.post(
        f"/estimates/{more.pk}/within-limit/", {"once": "6b1f2a52-2f3b-4f6e-9d55-0a4d5d2f6a11"}, follow=True
    )
    assert "Ask, then record the word" in pressed.content.decode()
    other = make.issued(owner, make.card_with_work(owner, 3))
    assert api(office).get(f"estimates/{other.pk}/limit/").json()["limit"] is None
    assert api(office).get("estimates/999999999/limit/").status_code == 404
