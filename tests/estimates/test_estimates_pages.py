"""The same over the staff pages, without JavaScript."""

import re
import uuid
from decimal import Decimal as D

import pytest
from django.test import Client

from jobs.cards.models import Stage
from jobs.estimates import actions
from jobs.estimates.models import Estimate, EstimateLine, GoAhead
from shop.kernel import clock
from tests.factories import estimates as make
from tests.factories import invoices as bills
from tests.factories import replies

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(owner):
    client = Client()
    client.force_login(owner)
    return client


def send(client, path, data=None, once=None, **more):
    return client.post(path, {"once": once or str(uuid.uuid4()), **(data or {})}, **more)


def words(answer) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def test_from_card_to_go_ahead(browser, owner):
    card, fit, _test, _rings = make.job(owner)
    assert "Write an estimate" in words(browser.get(f"/cards/{card.pk}/"))
    assert browser.get(f"/cards/{card.pk}/estimate/").status_code == 200
    drafted = send(browser, f"/cards/{card.pk}/estimate/", {"kind": "estimate"})
    row = Estimate.objects.get()
    assert drafted["Location"] == f"/estimates/{row.pk}/"
    page = words(browser.get(f"/estimates/{row.pk}/"))
    for said in (
        "€508.20",
        "€116.89",
        "€625.09",
        "3.5 h × €68.00 = €238.00.",
        "23 % of €508.20 = €116.89, rounded once.",
    ):
        assert said in page.replace("\u00a0", " "), said
    issued = send(browser, f"/estimates/{row.pk}/issue/", {"valid_until": "2999-01-01", "version": row.version})
    assert issued.status_code == 422
    assert "two years" in words(issued)
    row.refresh_from_db()
    send(
        browser,
        f"/estimates/{row.pk}/issue/",
        {"valid_until": row.created_at.date().isoformat(), "version": row.version},
    )
    row.refresh_from_db()
    assert row.number
    asked = browser.get(f"/estimates/{row.pk}/go-ahead/")
    assert asked.content.decode().count('<fieldset class="answer"') == 4
    none = send(
        browser, f"/estimates/{row.pk}/go-ahead/", {"how": "phone", "said_by": "N", "said_at": "2026-01-01T09:00"}
    )
    assert none.status_code == 422
    from django.utils import timezone

    when = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    line = row.lines.get(stage=fit, kind="labour")
    given = {"how": "phone", "said_by": "Niamh", "said_at": when, f"line_{line.pk}": "yes"}
    assert send(browser, f"/estimates/{row.pk}/go-ahead/", given).status_code == 303
    assert Stage.objects.get(pk=fit.pk).go_ahead_at is not None
    everything = given | {"every": "yes"}
    assert send(browser, f"/estimates/{row.pk}/go-ahead/", everything).status_code == 303
    page = words(browser.get(f"/estimates/{row.pk}/"))
    assert "Niamh" in page
    assert "Recorded what Niamh said" in page
    assert browser.get(f"/estimates/{row.pk}/pdf/")["Content-Type"] == "application/pdf"
    assert row.number in words(browser.get("/estimates/"))
    assert row.number in words(browser.get(f"/cards/{card.pk}/history/"))


def test_a_line_is_edited_in_place_and_a_mistake_keeps_what_was_typed(browser, owner):
    row = make.draft(owner)
    line = row.lines.first()
    assert 'name="unit_price"' in browser.get(f"/estimates/{row.pk}/?line={line.pk}").content.decode()
    good = {
        "kind": "labour", "text": "Fit rings", "quantity": "4,25", "unit": "HUR", "unit_price": "70.50", "tax_code": "S23",
        "pricing": "as-done", "version": row.version,
    }  # fmt: skip
    bad = send(browser, f"/estimates/{row.pk}/lines/{line.pk}/", good | {"quantity": "-1"})
    assert bad.status_code == 422
    assert "above zero" in words(bad)
    assert 'value="70.50"' in bad.content.decode()
    assert EstimateLine.objects.get(pk=line.pk).quantity == D("3.5")
    once = str(uuid.uuid4())
    for _ in range(2):  # a double click
        assert send(browser, f"/estimates/{row.pk}/lines/{line.pk}/", good, once=once).status_code == 303
    line.refresh_from_db(), row.refresh_from_db()
    assert (line.text, line.net, row.version) == ("Fit rings", D("299.63"), 2)  # 4.25 x 70.50 = 299.625
    stale = send(browser, f"/estimates/{row.pk}/lines/{line.pk}/", good | {"version": 1, "text": "Mine"})
    assert stale.status_code == 422
    assert "Mine" in stale.content.decode()
    assert "Fit rings" in stale.content.decode()


def test_cost_and_markup_stand_in_the_form_and_price_anew_only_when_changed(browser, owner, office):
    row = make.draft(owner)
    line = actions.add_line(
        row.pk, None, by=owner, kind="sublet", text="Rebore", cost=D(100), markup=D("12.5"), tax_code="S23"
    )  # fmt: skip
    clerk = Client()
    clerk.force_login(office)
    for who in (browser, clerk):
        page = who.get(f"/estimates/{row.pk}/?line={line.pk}").content.decode()
        for name, value in (("cost", "100"), ("markup", "12.5")):
            assert re.search(rf'name="{name}" value="{value}"', page), name
    form = {
        "kind": "sublet", "text": "Rebore", "quantity": "1", "unit": "LS", "unit_price": "120", "tax_code": "S23",
        "pricing": "fixed", "cost": "100", "markup": "12.5",
    }  # fmt: skip
    url = f"/estimates/{row.pk}/lines/{line.pk}/"
    assert send(browser, url, form).status_code == 303
    line.refresh_from_db()
    assert (line.unit_price, line.cost) == (D(120), D(100))
    page = browser.get(f"/estimates/{row.pk}/?line={line.pk}").content.decode()
    assert 'name="markup" value="12.5"' not in page  # the price is by hand now
    assert send(browser, url, form | {"markup": "20", "cost": "200"}).status_code == 303
    line.refresh_from_db()
    assert (line.unit_price, line.cost) == (D(240), D(200))


def test_lines_are_added_from_the_catalogue_moved_and_removed(browser, owner):
    row = make.draft(owner)
    make.part(owner, "GKT-042", "Head gasket", "41.75")
    url = f"/estimates/{row.pk}/lines/"
    assert send(browser, url, {"kind": "part", "part_number": "nope"}).status_code == 422
    assert send(browser, url, {"kind": "part", "part_number": "gkt-042", "version": 1}).status_code == 303
    added = row.lines.get(text="GKT-042 Head gasket")
    assert (added.unit_price, added.position) == (D("41.75"), 4)
    send(browser, f"{url}{added.pk}/", {"go": "up"})
    added.refresh_from_db()
    assert added.position == 3
    send(browser, f"{url}{added.pk}/", {"go": "remove"})
    assert row.lines.count() == 4
    assert send(browser, f"/estimates/{row.pk + 1}/lines/{row.lines.first().pk}/", {"go": "remove"}).status_code == 404


def test_an_office_clerk_gives_no_discount_and_sees_no_margin(office, owner):
    client = Client()
    client.force_login(office)
    row = make.draft(owner)
    page = client.get(f"/estimates/{row.pk}/?line={row.lines.first().pk}").content.decode()
    assert 'name="discount_percent"' not in page
    assert "Margin" not in page
    forged = {"note": "x", "discount_percent": "50", "discount_reason": "y", "version": row.version}
    send(client, f"/estimates/{row.pk}/whole/", forged)
    row.refresh_from_db()
    assert (row.note, row.discount_percent) == ("x", 0)


def test_a_margin_is_an_amount_of_money(owner):
    """What hours cost may be finer than the coin; what is left is not."""
    client = Client()
    client.force_login(owner)
    row = make.draft(owner)
    row.lines.filter(pk=row.lines.first().pk).update(cost=D("100.1255"))
    left = sum(x.net for x in row.lines.all() if x.cost is not None) - sum(x.cost or 0 for x in row.lines.all())
    page = words(client.get(f"/estimates/{row.pk}/"))
    assert f"Margin owner only €{left:.2f} " in page or f"without a cost €{left:.2f} " in page
    assert f"= €{left:.2f}." in page


def test_a_discount_on_the_whole_is_less_margin(browser, owner):
    row = make.draft(owner, make.job(owner)[0])
    row.lines.update(cost=10)
    count, net = row.lines.count(), sum(x.net for x in row.lines.all())
    actions.edit_estimate(row.pk, None, by=owner, discount_percent=D(10), discount_reason="Old customer")
    left = (net * D("0.9")).quantize(D("0.01")) - 10 * count
    page = words(browser.get(f"/estimates/{row.pk}/"))
    assert f"Margin owner only €{left:.2f} " in page
    assert f"less 10 % = €{left + 10 * count:.2f} − cost €{10 * count}.00 = €{left:.2f}." in page


def test_mechanics_and_stores_see_none_of_it(mechanic, stores, owner):
    row = make.issued(owner)
    for person in (mechanic, stores):
        client = Client()
        client.force_login(person)
        for path in (
            f"/estimates/{row.pk}/",
            "/estimates/",
            f"/estimates/{row.pk}/pdf/",
            f"/estimates/{row.pk}/go-ahead/",
        ):
            assert client.get(path).status_code == 403
        assert "Estimates" not in words(client.get(f"/cards/{row.card_id}/"))
    assert not GoAhead.objects.exists()


def test_what_was_asked_and_paid_is_not_in_a_mechanics_history(api, mechanic, stores, office, owner):
    row = make.agreed(owner)
    bills.deposit(owner, row.card)
    replies.link(owner, row)
    path = f"/cards/{row.card_id}/"
    drafted = api(owner).get(f"cards/{row.card_id}/history/").json()["items"]
    assert "Drafted an estimate of 4 lines" in {x["what"] for x in drafted}
    for person, sees in ((mechanic, False), (stores, False), (office, True)):
        client = Client()
        client.force_login(person)
        texts = [words(client.get(path)), words(client.get(f"{path}history/"))]
        told = api(person).get(f"cards/{row.card_id}/history/").json()["items"]
        texts.append(" ".join(x["what"] for x in told))
        for text in texts:
            assert "go-ahead for stage 1" in text
            assert ("Issued EST" in text, "Issued INV" in text, "625.09" in text) == (sees,) * 3
        things = {x["verb"].split(".")[0] for x in told}
        assert things & {"estimate", "invoice", "link"} == ({"estimate", "invoice", "link"} if sees else set())


def test_revise_withdraw_discard(browser, owner):
    row = make.issued(owner)
    revised = send(browser, f"/estimates/{row.pk}/revise/")
    draft = Estimate.objects.get(revision=2)
    assert revised["Location"] == f"/estimates/{draft.pk}/"
    assert send(browser, f"/estimates/{draft.pk}/discard/")["Location"] == f"/cards/{row.card_id}/"
    assert send(browser, f"/estimates/{row.pk}/withdraw/", {"reason": ""}).status_code == 422
    assert send(browser, f"/estimates/{row.pk}/withdraw/", {"reason": "Price list was old"}).status_code == 303
    assert "Withdrawn" in words(browser.get(f"/estimates/{row.pk}/"))


@pytest.mark.parametrize("lines", [1, 300])
def test_the_page_asks_the_database_no_more_for_more_lines(browser, owner, django_assert_max_num_queries, lines):
    from jobs.estimates import actions
    from jobs.estimates.figures import TOTALS, reckon

    row = make.draft(owner)
    first = row.lines.first()
    for n in range(lines):
        first.pk, first.position = None, n + 10
        first.save(force_insert=True)
    row = Estimate.objects.get(pk=row.pk)
    reckon(row, list(row.lines.all()))
    row.save(update_fields=TOTALS)
    with django_assert_max_num_queries(24):
        assert browser.get(f"/estimates/{row.pk}/").status_code == 200
    actions.issue_estimate(row.pk, None, by=owner)
    assert browser.get(f"/estimates/{row.pk}/pdf/").status_code == 200


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", "قطعة محرك", "🛠️ #let x = 1 $a$ *b* @c", "W" * 240])
def test_any_text_survives_on_page_and_paper(browser, owner, text):
    row = make.draft(owner)
    send(browser, f"/estimates/{row.pk}/lines/", {"kind": "sundry", "text": text, "unit_price": "1"})
    page = browser.get(f"/estimates/{row.pk}/").content.decode()
    assert "<script>alert(1)" not in page
    assert browser.get(f"/estimates/{row.pk}/pdf/").status_code == 200
    assert row.lines.get(unit_price=1).text == text


def test_the_issue_keeps_the_pdf_and_mails_who_agreed(owner, mailoutbox, django_capture_on_commit_callbacks):
    from jobs.machines import actions as machines
    from shop.documents.models import Attachment
    from shop.trail import outbox

    customer = make.customer(email="ebbing@oysters.example", contact="Niamh Tolan")
    machines.give_mail_consent(customer.pk, by=owner)
    row = make.issued(owner, make.job(owner, customer)[0])
    outbox.drain(), outbox.drain()
    file = Attachment.objects.get(subject="estimate", subject_id=row.pk)
    assert (file.original_name, file.media_type) == (f"{row.number}.pdf", "application/pdf")
    (mail,) = mailoutbox
    assert mail.to == ["ebbing@oysters.example"]
    assert mail.subject == f"estimate {row.number} from Saltmarsh Engine Works"
    assert mail.attachments[0][0] == f"{row.number}.pdf"
    from jobs.estimates import printing
    from jobs.estimates.actions.delivering import deliver_estimate

    deliver_estimate(row.pk, printing.pdf(row), "again.pdf")
    assert Attachment.objects.filter(subject="estimate").count() == 1


def test_the_list_says_what_was_answered(browser, owner):
    answers = {"Agreed": (True, True), "Agreed in part": (True, False), "Declined": (False, False)}
    for n, (said, pair) in enumerate(answers.items()):
        card = make.card(owner, make.customer(name=f"Customer {n} {said}"))
        make.stage(owner, card)
        make.stage(owner, card, "Run on the brake", kind="test")
        row = make.issued(owner, card)
        lines = [x.pk for x in row.lines.all()]
        make.say(owner, row, dict(zip(lines, [pair[0]] * (len(lines) - 1) + [pair[1]], strict=True)))
        assert f"Customer {n} {said}" in words(browser.get(f"/estimates/{row.pk}/"))
        assert f"Stands at {said}" in words(browser.get(f"/estimates/{row.pk}/"))
    page = words(browser.get("/estimates/"))
    for said in answers:
        assert said in page


def test_a_draft_that_was_issued_meanwhile_says_so(browser, owner):
    draft = make.draft(owner, make.job(owner)[0])
    line = draft.lines.first()
    old = {"version": draft.version, "kind": line.kind, "text": "Mine", "quantity": "1", "unit_price": "1"}
    old["valid_until"] = str(clock.today())
    assert send(browser, f"/estimates/{draft.pk}/issue/", old).status_code == 303
    for path in ("issue/", f"lines/{line.pk}/"):
        answer = send(browser, f"/estimates/{draft.pk}/{path}", old)
        if "Location" in answer:
            answer = browser.get(answer["Location"])
        assert "is issued and stays as it is. Make a new revision." in words(answer)
        assert "Save again" not in words(answer)
