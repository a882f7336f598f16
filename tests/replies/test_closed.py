"""The customer's link lets in whoever holds its token, to one document while it is offered, and nobody else."""

import base64
import hashlib
import re
import uuid
from datetime import timedelta
from decimal import Decimal
from urllib.parse import urlsplit

import pytest
from django.core import mail
from django.db import DatabaseError, transaction
from django.test import Client

from jobs.estimates import actions as estimates
from jobs.estimates.models import GoAhead
from jobs.machines import actions as machines
from jobs.replies import actions, queries, tokens
from jobs.replies.models import CustomerLink, Reply
from jobs.replies.pages import public
from shop.documents import actions as documents
from shop.kernel import clock
from shop.trail import outbox
from shop.trail.models import OutboxRow, TrailRow
from tests.documents import hostile
from tests.factories import estimates as quote
from tests.factories import moments
from tests.factories import replies as make

from .reading import guarded, photo, text_of

pytestmark = pytest.mark.django_db


def closed(answer, *words: str) -> None:
    """It says why, names the telephone, and shows nothing of the document."""
    assert answer.status_code == 410
    guarded(answer)
    page = text_of(answer)
    for said in (*words, "+353 00 555 0142"):
        assert said in page, said
    for hidden in ("EST-", "Ebbing", "Fit rings", "238", "B2-40417", "<form"):
        assert hidden not in answer.content.decode(), hidden


def test_after_a_revision_the_link_opens_nothing_and_records_nothing(owner):
    issued = quote.issued(owner)
    link = make.link(owner, issued)
    phone = make.Phone(link)
    key = make.key(phone.open())
    line = issued.lines.first()
    draft = estimates.new_revision(issued.pk, by=owner)
    assert phone.open().status_code == 200, "a revision that is being written isn't one yet"
    estimates.issue_estimate(draft.pk, None, by=owner)
    closed(phone.open(), "There is a newer version of the document.")
    closed(phone.send({line.pk: "yes"}, key_=key), "There is a newer version of the document.")
    for rest in ("document.pdf", "photos/1/", "photos/1/small/"):
        closed(phone.client.get(phone.path + rest))
    assert GoAhead.objects.count() == 0


def test_revoked_run_out_and_withdrawn(owner):
    issued = quote.issued(owner)
    revoked, short = make.link(owner, issued), make.link(owner, issued, days=1)
    actions.revoke_link(revoked.pk, by=owner)
    actions.revoke_link(revoked.pk, by=owner)
    closed(make.Phone(revoked).open(), "We have closed this link.")
    with clock.at(moments.away(1, minutes=1)):
        closed(make.Phone(short).open(), "The time to answer is over.")
    assert make.Phone(short).open().status_code == 200
    estimates.withdraw_estimate(issued.pk, by=owner, reason="Wrong engine")
    closed(make.Phone(short).open(), "We have taken the document back.")


def test_closed_while_the_page_was_open(owner):
    link = make.link(owner)
    phone = make.Phone(link)
    key = make.key(phone.open())
    actions.revoke_link(link.pk, by=owner)
    closed(phone.send({link.estimate.lines.first().pk: "yes"}, key_=key), "We have closed this link.")
    assert GoAhead.objects.count() == 0


def test_a_link_lasts_no_longer_than_the_prices(owner):
    issued = quote.issued(owner)
    link = make.link(owner, issued, days=60)
    assert link.expires_at.date() <= issued.valid_until + timedelta(days=1)
    assert link.expires_at < moments.away(59)


def test_a_token_is_stored_nowhere_and_made_from_none_of_what_is(owner, settings):
    link = make.link(owner)
    token = tokens.token(link.nonce, link.estimate_id)
    assert len(base64.urlsafe_b64decode(token + "=")) == 32
    stored = [str(getattr(link, f.attname)) for f in CustomerLink._meta.concrete_fields]
    stored += [str(row.payload) for row in OutboxRow.objects.all()] + [str(r.detail) for r in TrailRow.objects.all()]
    assert not [x for x in stored if token in x]
    assert link.digest == hashlib.sha256(token.encode()).hexdigest()
    settings.SECRET_KEY = "another" * 10
    assert tokens.token(link.nonce, link.estimate_id) != token, "of no use without the shop's key"
    assert make.Phone(f"/r/{token}/").open().status_code == 200
    assert queries.address(link, "https://shop.example/") is None


def test_a_tampered_or_guessed_token_opens_nothing_and_guessing_is_slow(owner, mid_hour):
    link = make.link(owner)
    token = tokens.token(link.nonce, link.estimate_id)
    other = ("B" if token[0] != "B" else "C") + token[1:]
    tried = [other, token[:-1], token + "A", token.lower(), "x", link.digest, link.nonce[:43], "..", "%00", "A" * 43]
    for given in tried:
        answer = Client().get(f"/r/{given}/")
        assert answer.status_code == 404, given
        if given not in ("..", "%00"):
            guarded(answer)
            assert "EST-" not in answer.content.decode()
    for n in range(20):
        last = Client().get(f"/r/{'A' * 40}{n:03}/")
    assert last.status_code == 429
    guarded(last)
    assert 0 < int(last["Retry-After"]) <= 300
    # whoever has a right one from there is let in, to see and to answer, and that forgives no guess
    phone = make.Phone(link)
    assert phone.open().status_code == 200
    assert phone.send({x.pk: "yes" for x in link.estimate.lines.all()}).status_code == 303
    assert Client().get(f"/r/{token}/document.pdf").status_code == 200
    assert Client().get(f"/r/{other}/").status_code == 429
    actions.revoke_link(link.pk, by=owner)
    assert phone.open().status_code == 410, "told what it is, not to wait"
    with clock.at(mid_hour + timedelta(minutes=6)):
        assert Client().get(f"/r/{other}/").status_code == 404
        assert Client().get(f"/r/{other}/").status_code == 429, "the next wait is as long"


def test_a_wrong_token_in_any_address_of_a_link_is_a_guess(owner, mid_hour):
    link = make.link(owner)
    token = tokens.token(link.nonce, link.estimate_id)
    tails = ("", "document.pdf", "photos/1/", "photos/1/small/")
    seen = [Client().get(f"/r/{'B' * 40}{n:03}/{tails[n % len(tails)]}").status_code for n in range(24)]
    assert seen == [404] * 20 + [429] * 4
    assert Client().get(f"/r/{token}/").status_code == 200


def test_the_key_of_another_document_answers_nothing(owner):
    mine = make.link(owner, quote.issued(owner, quote.card_with_work(owner, 1)))
    other = make.link(owner, quote.issued(owner, quote.card_with_work(owner, 2)))
    line, foreign = mine.estimate.lines.first(), other.estimate.lines.first()
    replayed = make.Phone(mine).send({line.pk: "yes"}, key_=make.key(make.Phone(other).open()))
    assert replayed.status_code == 409
    # and a line of another document is none of this one
    sent = make.Phone(mine).send({foreign.pk: "yes"})
    assert sent.status_code == 422
    for bad in ("", "x", make.key(make.Phone(mine).open())[:-2]):
        assert (
            make.Phone(mine)
            .client.post(make.path(mine), {"key": bad, "name": "N", f"line_{line.pk}": "yes"})
            .status_code
            == 409
        )
    assert GoAhead.objects.count() == 0
    assert make.standing(mine.estimate)[line.pk] == "open"


def test_another_site_can_send_nothing(owner):
    link = make.link(owner)
    phone = make.Phone(link)
    given = {"key": make.key(phone.open()), "name": "N", f"line_{link.estimate.lines.first().pk}": "yes"}
    for site in ("cross-site", "same-site"):
        assert phone.client.post(phone.path, given, headers={"Sec-Fetch-Site": site}).status_code == 403
    assert GoAhead.objects.count() == 0
    sent = phone.client.post(phone.path, given, headers={"Sec-Fetch-Site": "same-origin", "Origin": "null"})
    assert sent.status_code == 303


def test_only_ticked_photos_of_this_card_are_seen(owner):
    card, *_ = quote.job(owner)
    shown, hidden = photo(card, owner, shown=True, seed=1), photo(card, owner, shown=False, seed=2)
    foreign = photo(quote.card_with_work(owner, 5), owner, shown=True, seed=3)
    link = make.link(owner, quote.issued(owner, card))
    phone = make.Phone(link)
    page = phone.open().content.decode()
    assert f"{phone.path}photos/{shown.pk}/small/" in page
    assert "Bore 2, scored" in page
    assert "secret" not in page, "nor what the file was called"
    for way in ("", "small/"):
        seen = phone.client.get(f"{phone.path}photos/{shown.pk}/{way}")
        assert (seen.status_code, seen["Content-Type"]) == (200, "image/jpeg")
        assert "secret" not in seen["Content-Disposition"]
        guarded(seen)
        for other in (hidden, foreign, queries.issued_pdf(link.estimate)):
            assert phone.client.get(f"{phone.path}photos/{other.pk}/{way}").status_code == 404
    documents.show_customer(shown.pk, by=owner, shown=False)
    assert phone.client.get(f"{phone.path}photos/{shown.pk}/").status_code == 404
    pdf = phone.client.get(f"{phone.path}document.pdf")
    assert b"".join(pdf.streaming_content).startswith(b"%PDF-")
    guarded(pdf)


def test_it_leads_nowhere_else(owner):
    card, *_ = quote.job(owner)
    link = make.link(owner, quote.issued(owner, card))
    phone = make.Phone(link)
    leads = set(re.findall(r'(?:href|action|src)="([^"#]+)', phone.open().content.decode()))
    assert {x for x in leads if not x.startswith((phone.path, "/static/", "tel:"))} == set()
    for inside in (
        "/",
        f"/estimates/{link.estimate_id}/",
        f"/cards/{card.pk}/",
        f"/api/v1/estimates/{link.estimate_id}/",
    ):
        assert phone.client.get(inside).status_code in (302, 401), inside


def test_a_person_signed_in_sees_what_the_customer_sees(owner):
    link = make.link(owner)
    staff = Client()
    staff.force_login(owner)
    page = staff.get(make.path(link))
    assert "Maren" not in page.content.decode()
    assert not page.cookies
    assert "/sign-out/" not in page.content.decode()


def test_too_much_is_refused_before_it_is_read(owner):
    link = make.link(owner)
    phone = make.Phone(link)
    huge = phone.send({link.estimate.lines.first().pk: "yes"}, signature="data:image/png;base64," + "A" * 3_000_000)
    assert huge.status_code == 413
    assert GoAhead.objects.count() == 0


def test_what_was_kept_stands_still(owner):
    link = make.link(owner)
    make.Phone(link).send({link.estimate.lines.first().pk: "yes"})
    for attempt in (
        lambda: Reply.objects.update(address="10.0.0.1"),
        lambda: Reply.objects.update(wording={}),
        lambda: Reply.objects.all()._raw_delete("default"),
        lambda: CustomerLink.objects.update(expires_at=moments.away(999)),
        lambda: CustomerLink.objects.update(document_hash="0" * 64),
        lambda: CustomerLink.objects.update(estimate=quote.issued(owner, quote.card_with_work(owner, 7))),
        lambda: CustomerLink.objects.all()._raw_delete("default"),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            attempt()


def test_the_mail_brings_a_link_that_opens(owner):
    customer = quote.customer(email="niamh@ebbing.example", contact="Niamh Tolan")
    machines.give_mail_consent(customer.pk, by=owner)
    link = make.link(owner, quote.issued(owner, quote.job(owner, customer)[0]))
    actions.mail_link(link.pk, by=owner, site="https://saltmarsh.example/")
    outbox.drain()
    sent = next(m for m in mail.outbox if "your answer" in m.subject)
    (address,) = re.findall(r"https://saltmarsh\.example(/r/\S+)", sent.body)
    assert urlsplit(address).path == make.path(link)
    assert sent.to == ["niamh@ebbing.example"]
    assert make.Phone(address).open().status_code == 200


def test_a_link_revoked_before_its_mail_went_is_not_sent(owner):
    customer = quote.customer(email="niamh@ebbing.example")
    machines.give_mail_consent(customer.pk, by=owner)
    link = make.link(owner, quote.issued(owner, quote.job(owner, customer)[0]))
    actions.mail_link(link.pk, by=owner, site="https://saltmarsh.example/")
    actions.revoke_link(link.pk, by=owner)
    outbox.drain()
    assert not [m for m in mail.outbox if "your answer" in m.subject]
    assert "closed before its mail" in OutboxRow.objects.get(topic="link.mail").last_error


def test_the_page_asks_as_often_for_many_lines_and_photos(owner, django_assert_max_num_queries):
    draft = quote.draft(owner)
    link_of = lambda: make.link(owner, estimates.issue_estimate(draft.pk, None, by=owner))  # noqa: E731
    for n in range(30):
        estimates.add_line(draft.pk, None, by=owner, text=f"Line {n}", unit_price=Decimal(1))
    for n in range(6):
        photo(draft.card, owner, shown=True, seed=n)
    phone = make.Phone(link_of())
    phone.open()
    with django_assert_max_num_queries(17):
        phone.open()


def test_an_unknown_key_of_a_link_counts_as_a_try(owner, mid_hour):
    link = make.link(owner)
    phone = make.Phone(link)
    for _ in range(public.SENT.free + 1):
        last = phone.client.post(phone.path, {"key": str(uuid.uuid4())})
    assert last.status_code == 429


def test_hostile_pictures_are_no_signature(owner):
    link = make.link(owner)
    line = link.estimate.lines.first()
    bomb = "data:image/png;base64," + base64.b64encode(hostile.huge_png()).decode()
    assert make.Phone(link).send({line.pk: "yes"}, signature=bomb).status_code == 422
