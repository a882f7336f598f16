"""The customer's link: what it shows, and what is kept of an answer."""

import base64
import hashlib
from decimal import Decimal

import pytest
from django.core.files.storage import default_storage

from jobs.cards import actions as cards
from jobs.cards.models import Stage
from jobs.draws.models import Need
from jobs.estimates import actions as estimates
from jobs.estimates import printing
from jobs.estimates.models import GoAhead
from jobs.replies import queries
from jobs.replies.models import Reply
from shop.documents.models import Attachment
from shop.kernel.errors import Refused
from shop.trail.models import TrailRow
from tests.documents import reading
from tests.factories import estimates as quote
from tests.factories import replies as make
from tests.factories.stock import bin_, lot

from .reading import drawn, guarded, text_of

pytestmark = pytest.mark.django_db


def test_the_customer_sees_the_document_and_answers_line_by_line(owner):
    card, fit, test, _rings = quote.job(owner)
    issued = quote.issued(owner, card)
    link = make.link(owner, issued)
    phone = make.Phone(link)
    opened = phone.open()
    guarded(opened)
    said = text_of(opened)
    for words in (
        f"Estimate {issued.number}", "Ebbing Oyster Fishery", "Fit rings and pistons", "€238.00", "€625.09",
        "An estimate: what we expect it to cost", "right to withdraw, differs by country", "+353 00 555 0142",
    ):  # fmt: skip
        assert words in said, words
    fitting, braking, *rest = issued.lines.order_by("kind", "position")
    answer = phone.send({fitting.pk: "yes", braking.pk: "no"}, signature=drawn())
    assert (answer.status_code, answer["Location"]) == (303, phone.path)
    guarded(answer)
    go = GoAhead.objects.get()
    assert (go.how, go.said_by, go.recorded_by, go.document_hash) == (
        "link", "Niamh Tolan", None, estimates.fingerprint(issued),
    )  # fmt: skip
    assert make.standing(issued) == {fitting.pk: "accepted", braking.pk: "declined", **{x.pk: "open" for x in rest}}
    assert Stage.objects.get(pk=fit.pk).go_ahead_at is not None
    assert Stage.objects.get(pk=test.pk).declined_at is not None
    assert Need.objects.get(stage=fit).reservation_id is not None or Need.objects.get(stage=fit).drawn == 0
    reply = Reply.objects.get()
    assert (reply.address, reply.go_ahead, reply.link) == ("127.0.0.1", go, link)
    kept = queries.issued_pdf(issued)
    with default_storage.open(kept.file.name) as stored:
        assert reply.pdf_sha256 == hashlib.sha256(stored.read()).hexdigest()
    assert "With my yes I ask Saltmarsh Engine Works to carry out" in reply.wording["statement"]
    assert [(x["line_id"], x["accepted"]) for x in reply.wording["lines"]] == [(fitting.pk, True), (braking.pk, False)]
    assert reply.signature.media_type == "image/png"
    assert (reply.signature.subject, reply.signature.root) == ("estimate", "estimate"), "no mechanic sees it"
    again = phone.open()
    assert "Thank you. Your answer is with us." in text_of(again)
    assert "you said yes" in text_of(again)
    assert again.content.decode().count("<fieldset") == len(rest)
    done = phone.send({x.pk: "yes" for x in rest})
    assert done.status_code == 303
    assert "<fieldset" not in phone.open().content.decode()
    told = set(TrailRow.objects.filter(root_id=card.pk, root="jobcard").values_list("verb", flat=True))
    assert {"link.made", "link.opened", "link.answered", "estimate.answered"} <= told


def test_what_went_on_within_the_limit_is_not_called_their_yes(owner, office):
    """Nobody asked them; the page must not say that they answered. In the next revision they are asked."""
    customer = quote.customer(extra_work_limit=Decimal(500))
    card, *_ = quote.job(owner, customer)
    quote.agreed(owner, card)
    quote.stage(owner, card, "Weld the manifold", kind="rework")
    more = quote.issued(owner, card, kind="additional")
    phone = make.Phone(make.link(owner, more))
    shown = make.key(phone.open())
    estimates.go_on_within_limit(more.pk, by=office)
    said = text_of(phone.open())
    assert "we went on with this within the limit you gave us" in said
    assert not [x for x in ("Thank you", "you said yes", "Ebbing Oyster Fishery, ") if x in said]
    assert "<fieldset" not in phone.open().content.decode()
    assert "To change an answer, call us." in said
    late = phone.send({more.lines.first().pk: "no"}, key_=shown)
    assert (late.status_code, Reply.objects.exists()) == (409, False)
    again = estimates.issue_estimate(estimates.new_revision(more.pk, by=owner).pk, None, by=owner)
    asked = make.Phone(make.link(owner, again)).open()
    assert "We went on with this within the limit you gave us, as the revision before had it." in text_of(asked)
    assert "You said yes" not in text_of(asked)
    assert "<fieldset" in asked.content.decode()


def test_each_kind_of_document_has_its_own_words(owner):
    card, *_ = quote.job(owner)
    firm = quote.issued(owner, card, kind="quotation")
    page = text_of(make.Phone(make.link(owner, firm)).open())
    assert "A firm quotation: for what you order here we charge these prices, no more." in page
    assert "With my yes I order the lines marked yes" in page
    quote.stage(owner, card, "Weld the manifold", kind="rework")
    more = quote.issued(owner, card, kind="additional")
    page = text_of(make.Phone(make.link(owner, more)).open())
    assert "Notice of additional work" in page
    assert "none of it is done without your yes" in page


def test_the_page_speaks_the_language_of_the_document(owner):
    customer = quote.customer(name="Priel Mühle", language="de")
    link = make.link(owner, quote.issued(owner, quote.job(owner, customer)[0]))
    page = make.Phone(link).open()
    assert '<html lang="de">' in page.content.decode()
    assert "Ein Kostenvoranschlag: was wir als Kosten erwarten" in text_of(page)
    assert "625,09 €" in text_of(page)


def test_the_page_shows_a_discount_as_the_paper_does(owner):
    draft = quote.draft(owner, quote.job(owner, quote.customer(name="Priel Mühle", language="de"))[0])
    estimates.add_line(
        draft.pk, None, by=owner, text="Lackieren", unit_price=Decimal(90), discount_percent=Decimal("12.5"),
        discount_reason="Aktion",
    )  # fmt: skip
    estimates.edit_estimate(draft.pk, None, by=owner, discount_percent=Decimal(10), discount_reason="Stammkunde")
    issued = estimates.issue_estimate(draft.pk, None, by=owner)
    page = text_of(make.Phone(make.link(owner, issued)).open())
    assert "78,75 € · 12,5 %: Aktion" in page
    off = f"\u2212{issued.sum_net - issued.total_net:.2f}".replace(".", ",")
    assert f"Rabatt: Stammkunde {off} €" in page
    assert off in reading.text(printing.pdf(issued))


def test_yes_to_everything_leaves_out_what_is_optional(owner):
    draft = quote.draft(owner)
    extra = estimates.add_line(draft.pk, None, by=owner, text="Paint it", unit_price=Decimal(90), optional=True)
    issued = estimates.issue_estimate(draft.pk, None, by=owner)
    phone = make.Phone(make.link(owner, issued))
    assert phone.send({}, every="yes").status_code == 303
    words = make.standing(issued)
    assert words.pop(extra.pk) == "open"
    assert set(words.values()) == {"accepted"}


def test_opening_changes_nothing_but_the_count(owner):
    link = make.link(owner)
    phone = make.Phone(link)
    for _ in range(3):
        phone.open()
    phone.client.head(phone.path)
    link.refresh_from_db()
    assert link.opened == 3
    assert link.first_opened_at < link.last_opened_at
    assert GoAhead.objects.count() == 0
    assert set(make.standing(link.estimate).values()) == {"open"}
    for method in ("put", "patch", "delete"):
        assert getattr(phone.client, method)(phone.path).status_code == 405


def test_sent_twice_it_is_one_answer(owner):
    link = make.link(owner)
    phone = make.Phone(link)
    key = make.key(phone.open())
    line = link.estimate.lines.first()
    for _ in range(3):
        assert phone.send({line.pk: "yes"}, key_=key).status_code == 303
    assert (GoAhead.objects.count(), Reply.objects.count()) == (1, 1)


def test_two_pages_open_the_second_answer_is_shown_what_the_first_said(owner):
    link = make.link(owner)
    phone = make.Phone(link)
    one, two = make.key(phone.open()), make.key(phone.open())
    first, second, *_ = link.estimate.lines.all()
    assert phone.send({first.pk: "yes"}, key_=one).status_code == 303
    late = phone.send({first.pk: "no", second.pk: "no"}, key_=two)
    assert late.status_code == 409
    assert "Meanwhile something was recorded on this document" in text_of(late)
    words = make.standing(link.estimate)
    assert (words[first.pk], words[second.pk]) == ("accepted", "open")


def test_a_word_by_telephone_while_the_page_was_open_counts(owner):
    link = make.link(owner)
    phone = make.Phone(link)
    key = make.key(phone.open())
    line = link.estimate.lines.first()
    quote.say(owner, link.estimate, {line.pk: False})
    assert phone.send({line.pk: "yes"}, key_=key).status_code == 409
    assert make.standing(link.estimate)[line.pk] == "declined"


@pytest.mark.parametrize(
    ("sent", "why"),
    [
        ({"name": ""}, "Please type your name."),
        ({"name": " \n "}, "Please type your name."),
        ({"name": "x" * 121}, "Please type your name."),
        ({"name": "Ni\x00amh"}, "Please type your name."),
        ({"line": "open"}, "Please say yes or no to at least one line."),
        ({"line": "maybe"}, "Please say yes or no to at least one line."),
        ({"signature": "data:image/svg+xml;base64,PHN2Zz4="}, "The signature did not come through."),
        ({"signature": "data:image/png;base64," + base64.b64encode(b"<html>").decode()}, "The signature did not"),
        ({"signature": "data:image/png;base64,!!!"}, "The signature did not come through."),
        ({"signature": "javascript:alert(1)"}, "The signature did not come through."),
        ({"signature": drawn((2400, 100))}, "The signature did not come through."),
    ],
)
def test_what_is_wrong_is_said_and_nothing_kept(owner, sent, why):
    link = make.link(owner)
    line = link.estimate.lines.first()
    more = {k: v for k, v in sent.items() if k == "signature"}
    answer = make.Phone(link).send({line.pk: sent.get("line", "yes")}, name=sent.get("name", "Niamh"), **more)
    assert answer.status_code == 422
    assert why in text_of(answer)
    guarded(answer)
    assert GoAhead.objects.count() == 0
    assert not Attachment.objects.filter(media_type="image/png").exists()


def test_markup_in_a_name_or_line_is_text(owner):
    draft = quote.draft(owner)
    line = estimates.add_line(
        draft.pk, None, by=owner, text="<script>alert(1)</script>", unit_price=Decimal(1), detail="<img src=x>"
    )
    link = make.link(owner, estimates.issue_estimate(draft.pk, None, by=owner))
    phone = make.Phone(link)
    assert "<script>alert" not in phone.open().content.decode()
    assert phone.send({line.pk: "yes"}, name="<b onmouseover=x>Niamh").status_code == 303
    page = phone.open().content.decode()
    assert "<b onmouseover" not in page
    assert "&lt;b onmouseover=x&gt;Niamh" in page


def test_a_yes_when_all_is_done_is_recorded_and_keeps_nothing_on_the_shelf(owner):
    """The card is finished and not handed over yet: their word counts, and no part waits for finished work."""
    card, fit, test, rings = quote.job(owner)
    lot(owner, rings.pk, "5", at=bin_(owner, at=card.site))
    for stage in (fit, test):
        cards.edit_stage(stage.pk, None, by=owner, needs_go_ahead=False)
    issued = quote.issued(owner, card)
    phone = make.Phone(make.link(owner, issued))
    shown = make.key(phone.open())
    cards.start_stage(fit.pk, by=owner)
    cards.finish_stage(fit.pk, by=owner)
    first, *rest = issued.lines.filter(accompanies=None)
    assert phone.send({first.pk: "yes"}, key_=shown).status_code == 303
    assert Need.objects.get().reservation_id is None, "the stage is finished"
    cards.start_stage(test.pk, by=owner)
    cards.finish_stage(test.pk, by=owner)
    cards.finish_card(card.pk, by=owner)
    assert phone.send({x.pk: "yes" for x in rest}).status_code == 303
    assert Need.objects.get().reservation_id is None
    assert set(make.standing(issued).values()) == {"accepted"}


def test_what_cannot_be_taken_in_says_so_and_keeps_the_answers(owner, monkeypatch):
    issued = quote.issued(owner)
    phone = make.Phone(make.link(owner, issued))
    line = issued.lines.first()
    monkeypatch.setattr("jobs.estimates.actions.answers.draws.keep_for", refuse)
    sent = phone.send({line.pk: "yes"})
    assert sent.status_code == 409
    assert "We could not take your answer in just now" in text_of(sent)
    assert f'name="line_{line.pk}" value="yes" checked' in sent.content.decode()
    assert not GoAhead.objects.exists()


def refuse(*_args, **_more):
    raise Refused("No.", code="other")
