"""One estimate of a card is with the customer at a time: two for the same work would both be agreed and billed."""

import pytest
from django.test import Client

from jobs.estimates import actions
from jobs.estimates.models import OPEN, Estimate
from shop.kernel.errors import Refused
from tests.factories import estimates as make

pytestmark = pytest.mark.django_db
SECOND = "/api/problems/estimate-open"


def withdrawn_beside_its_successor(owner):
    """EST-1 taken back, EST-2 for the same card with the customer."""
    first = make.issued(owner)
    actions.withdraw_estimate(first.pk, by=owner, reason="The wrong machine's price list")
    return first, make.issued(owner, first.card, kind="quotation")


def test_a_withdrawn_estimate_is_not_revised_beside_its_successor(api, owner):
    first, second = withdrawn_beside_its_successor(owner)
    client = api(owner)
    refused = client.post(f"estimates/{first.pk}/new-revision/")
    assert (refused.status_code, refused.json()["type"]) == (409, SECOND)
    assert refused.json()["facts"] == {"estimate_id": second.pk}
    assert second.number in refused.json()["detail"]
    browser = Client()
    browser.force_login(owner)
    assert "New revision" not in browser.get(f"/estimates/{first.pk}/").content.decode()
    assert "New revision" in browser.get(f"/estimates/{second.pk}/").content.decode()


def test_a_revision_written_before_is_not_issued_beside_it_either(api, owner):
    first = make.issued(owner)
    actions.withdraw_estimate(first.pk, by=owner, reason="The wrong machine's price list")
    revision = actions.new_revision(first.pk, by=owner)
    second = make.issued(owner, first.card)
    refused = api(owner).post(f"estimates/{revision.pk}/issue/")
    assert (refused.status_code, refused.json()["type"]) == (409, SECOND)
    assert list(Estimate.objects.filter(OPEN, card=first.card_id)) == [second]
    # once that one is taken back, the first may stand again
    actions.withdraw_estimate(second.pk, by=owner, reason="They want the first one after all")
    assert api(owner).post(f"estimates/{revision.pk}/issue/").status_code == 200


def test_the_next_revision_and_a_notice_of_more_work_are_no_second(owner):
    first = make.agreed(owner)
    make.stage(owner, first.card, "Hone cylinder 2", kind="rework")
    notice = make.issued(owner, first.card, kind="additional")
    revision = actions.issue_estimate(actions.new_revision(first.pk, by=owner).pk, None, by=owner)
    again = actions.issue_estimate(actions.new_revision(notice.pk, by=owner).pk, None, by=owner)
    assert {x.pk for x in Estimate.objects.filter(OPEN, card=first.card_id)} == {revision.pk, again.pk}


@pytest.mark.parametrize("what", ["draft", "newer", "closed"])
def test_the_page_offers_no_revision_that_would_be_refused(owner, what):
    from jobs.cards import actions as cards

    row = make.issued(owner, make.card_with_work(owner, 1)) if what != "draft" else make.draft(owner)
    if what == "newer":
        actions.new_revision(row.pk, by=owner)
    if what == "closed":
        cards.cancel_card(row.card_id, by=owner, reason="They sold the boat")
    browser = Client()
    browser.force_login(owner)
    assert "New revision" not in browser.get(f"/estimates/{row.pk}/").content.decode()
    with pytest.raises(Refused):
        actions.new_revision(row.pk, by=owner)


def test_a_withdrawn_notice_is_not_revised_beside_the_one_that_names_its_work(api, owner):
    first = make.agreed(owner)
    hone = make.stage(owner, first.card, "Hone cylinder 2", kind="rework")
    old = make.issued(owner, first.card, kind="additional")
    actions.withdraw_estimate(old.pk, by=owner, reason="Too dear")
    revision = actions.new_revision(old.pk, by=owner)
    new = make.issued(owner, first.card, kind="additional")
    assert new.lines.filter(stage=hone).exists()
    refused = api(owner).post(f"estimates/{revision.pk}/issue/")
    assert (refused.status_code, refused.json()["type"]) == (409, SECOND)
    assert refused.json()["facts"] == {"estimate_id": new.pk}
    actions.discard_estimate(revision.pk, None, by=owner)
    assert api(owner).post(f"estimates/{old.pk}/new-revision/").json()["type"] == SECOND
    browser = Client()
    browser.force_login(owner)
    assert "New revision" not in browser.get(f"/estimates/{old.pk}/").content.decode()
    # what the other doesn't name may be offered again
    actions.withdraw_estimate(new.pk, by=owner, reason="They want the first")
    assert api(owner).post(f"estimates/{old.pk}/new-revision/").status_code == 201
