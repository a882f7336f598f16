"""Statements, what is late, letters, disputes and storage, through actions, pages and API."""

import uuid
from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client

from jobs.accounts import actions, printing, queries
from jobs.accounts.models import Reminder, ReminderLine, StorageCharge
from jobs.cards.models import JobCard
from jobs.invoices import actions as invoices
from jobs.invoices import queries as owed
from jobs.invoices.models import Invoice
from jobs.machines import actions as machines
from shop.business import actions as business
from shop.documents.models import Attachment
from shop.kernel import clock
from shop.kernel.errors import Refused
from shop.trail import outbox
from tests.documents import reading
from tests.factories import accounts as late
from tests.factories import estimates as quote
from tests.factories import invoices as make
from tests.factories import moments
from tests.invoices.test_invoices_pages import send, words

pytestmark = pytest.mark.django_db
TERMS = {
    "remind_fee_2": D(5), "remind_fee_3": D(10), "interest_percent": D(8), "interest_from": 2, "remind_pay_days": 10,
}  # fmt: skip


@pytest.fixture
def customer(owner):
    quote.shop(owner)
    business.edit_money_terms(None, by=owner, **TERMS)
    return quote.customer()


@pytest.fixture
def browser(owner):
    client = Client()
    client.force_login(owner)
    return client


def later(days: int):
    return clock.at(moments.away(days))


def test_three_letters_each_once(owner, customer):
    late.overdue(owner, customer, days=20)  # 123.00
    first = actions.send_reminder(by=owner, customer_id=customer.pk)
    assert (first.level, first.fee, first.interest, first.total) == (1, 0, 0, D(123))
    with pytest.raises(Refused, match="No letter is due"):
        actions.send_reminder(by=owner, customer_id=customer.pk)
    with later(14):
        second = actions.send_reminder(by=owner, customer_id=customer.pk)
        # 123 x 8 % x 34 / 365 = 0.9166
        assert (second.level, second.fee, second.interest, second.total) == (2, D(5), D("0.92"), D("128.92"))
        assert second.pay_by == clock.today() + timedelta(days=10)
    with later(28):
        third = actions.send_reminder(by=owner, customer_id=customer.pk)
        assert (third.level, third.fee) == (3, D(10))
    with later(400), pytest.raises(Refused):
        actions.send_reminder(by=owner, customer_id=customer.pk)
    assert owed.balance(customer.pk).owed == D(123)  # a letter charges nothing


def test_one_letter_for_several_invoices_and_only_what_is_late(owner, customer):
    old = late.overdue(owner, customer, days=20)
    actions.send_reminder(by=owner, customer_id=customer.pk)
    with later(14):
        fresh = late.overdue(owner, customer, days=9)
        make.sale(owner, customer)  # not due
        both = actions.send_reminder(by=owner, customer_id=customer.pk)
        assert both.level == 2
        assert {(x.invoice_id, x.level) for x in both.lines.all()} == {(old.pk, 2), (fresh.pk, 1)}
        assert {x.invoice_id for x in both.lines.filter(interest__gt=0)} == {old.pk}
        paper = reading.text(printing.letter(both))
        assert old.number in paper
        assert "Second reminder" in paper or "SECOND REMINDER" in paper.upper()


def on_account(owner, customer, amount: str):
    """A transfer that is recorded as nothing but money of theirs."""
    return invoices.record_payment(
        by=owner, customer_id=customer.pk, amount=D(amount), method="transfer", received_on=clock.today(), allocations={}
    )  # fmt: skip


def test_nobody_is_asked_for_money_that_stands_to_their_credit(owner, customer, api, browser):
    """123.00 late, 123.00 came and settles nothing yet: no letter, not even the second, until it is set against something else."""
    row = late.overdue(owner, customer, days=20)
    actions.send_reminder(by=owner, customer_id=customer.pk)
    paid = on_account(owner, customer, "123")
    with later(14):
        assert queries.proposals() == []
        page = words(browser.get("/accounts/letters/"))
        assert "No letter today: the money is here" in page
        assert f"€123.00 stands to their credit: set it against {row.number}" in page
        assert f'href="/customers/{customer.pk}/account/"' in browser.get("/accounts/letters/").content.decode()
        assert "Write it" not in page
        told = api(owner).get("reminders/due/").json()
        assert (told["items"], [(x["customer_id"], x["credit"]) for x in told["covered"]]) == (
            [], [(customer.pk, "123.00")],
        )  # fmt: skip
        refused = api(owner).post("reminders/", {"customer_id": customer.pk})
        assert (refused.status_code, refused.json()["type"]) == (409, "/api/problems/credit-covers")
        assert f"Set it against {row.number} first" in refused.json()["detail"]
        assert Reminder.objects.count() == 1
        invoices.reverse_payment(paid.pk, by=owner, reason="Bounced")
        assert actions.send_reminder(by=owner, customer_id=customer.pk).total == D("128.92")


def test_credit_that_covers_only_part_stands_beside_the_letter(owner, customer, api, browser):
    late.overdue(owner, customer, days=20)
    on_account(owner, customer, "122.99")
    (letter,) = queries.proposals()
    assert (letter.open_total, letter.credit) == (D(123), D("122.99"))
    page = words(browser.get("/accounts/letters/"))
    assert "€122.99 Set it against these first" in page
    assert api(owner).get("reminders/due/").json()["items"][0]["credit"] == "122.99"
    assert actions.send_reminder(by=owner, customer_id=customer.pk).open_total == D(123)


def test_paid_or_disputed_there_is_no_letter(owner, customer):
    row = late.overdue(owner, customer)
    quarrel = actions.raise_dispute(by=owner, invoice_id=row.pk, reason="The pump leaked again")
    with pytest.raises(Refused):
        actions.send_reminder(by=owner, customer_id=customer.pk)
    with pytest.raises(Refused, match="in dispute already"):
        actions.raise_dispute(by=owner, invoice_id=row.pk, reason="Again")
    actions.end_dispute(quarrel.pk, by=owner, outcome="Seal renewed, they pay")
    with pytest.raises(Refused):
        actions.end_dispute(quarrel.pk, by=owner, outcome="Again")
    make.pay(owner, row, "23")
    assert actions.send_reminder(by=owner, customer_id=customer.pk).open_total == 100
    make.pay(owner, row, "100")
    with later(30), pytest.raises(Refused):
        actions.send_reminder(by=owner, customer_id=customer.pk)
    with pytest.raises(Refused, match="Nothing is owed"):
        actions.raise_dispute(by=owner, invoice_id=row.pk, reason="Paid already")


def test_a_letter_is_kept_and_mailed_once_and_never_changes(owner, mailoutbox):
    customer = quote.customer(email="office@oyster.example")
    machines.give_mail_consent(customer.pk, by=owner)
    quote.shop(owner)
    late.overdue(owner, customer)
    row = actions.send_reminder(by=owner, customer_id=customer.pk)
    outbox.drain(), outbox.drain()
    (sent,) = [m for m in mailoutbox if row.number in m.subject]
    assert sent.to == ["office@oyster.example"]
    assert Attachment.objects.filter(subject="reminder", subject_id=row.pk).count() == 1
    actions.deliver_reminder(row.pk, printing.letter(row), f"{row.number}.pdf")
    assert Attachment.objects.filter(subject="reminder", subject_id=row.pk).count() == 1
    for statement in ("UPDATE jobs_accounts_reminder SET fee = 9", "DELETE FROM jobs_accounts_reminderline"):
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
    line = ReminderLine.objects.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        ReminderLine.objects.create(reminder=row, invoice=line.invoice, level=1, open=1, days_late=1)


def test_a_statement_opens_and_closes_right(owner, customer, api, browser):
    old = late.overdue(owner, customer, days=100)  # before the period
    make.pay(owner, old, "100")
    new = make.sale(owner, customer)
    invoices.credit_note(new.pk, by=owner, reason="Wrong part")
    since, until = clock.today() - timedelta(days=30), clock.today()
    found = queries.statement(customer.pk, since, until)
    assert found is not None
    assert (found.opening, found.closing) == (D(123), D(23))
    assert [(e.what, e.amount) for e, _ in found.entries] == [
        ("invoice", D(123)), ("credit", D(-123)), ("payment", D(-100)),
    ]  # fmt: skip
    assert found.closing == owed.balance(customer.pk).balance
    paper = reading.text(printing.statement(found))
    for said in ("123.00", "23.00", new.number):
        assert said in paper
    read = api(owner).get(f"statements/{customer.pk}/", since=since.isoformat(), until=until.isoformat()).json()
    assert (read["opening"], read["closing"], len(read["entries"])) == ("123.00", "23.00", 3)
    wrong = api(owner).get(f"statements/{customer.pk}/", since="2026-05-02", until="2026-05-01")
    assert wrong.status_code == 400
    page = browser.get(f"/customers/{customer.pk}/statement/?since={since}&until={until}")
    assert "Opening balance €123.00" in words(page)
    assert browser.get(f"/customers/{customer.pk}/statement/?since=x").status_code == 422
    assert browser.get(f"/customers/{customer.pk}/statement.pdf").content.startswith(b"%PDF")


@pytest.mark.parametrize(("language", "late_word", "credit_word"), [
    ("en", "1 to 30 days late", "to your credit"), ("de", "1 bis 30 Tage", "Ihr Guthaben"),
])  # fmt: skip
def test_a_statement_of_a_past_period_carries_the_ages_of_its_end(owner, customer, language, late_word, credit_word):
    """123.00 issued 70 days ago, due 40 days ago; 50.00 on account 60 days ago; both settled since, and another 246.00 is open."""
    them = quote.customer(name="Reed Ferry", language=language)
    with later(-70):
        sold = make.sale(owner, them)
    with later(-60):
        held = on_account(owner, them, "50")
    with later(-20):
        make.pay(owner, sold, "73")
        invoices.allocate(by=owner, payment_id=held.pk, allocations={sold.pk: D(50)})
    with later(-10):
        make.sale(owner, them, "200")
    today = clock.today()
    for days, bands in ((40, [123, 0, 0, 0, 0]), (35, [0, 123, 0, 0, 0]), (15, [0] * 5), (0, [246, 0, 0, 0, 0])):
        day = today - timedelta(days=days)
        mine = queries.ages_at(them, day)
        assert (mine.bands, mine.credit) == (bands, 50 if days >= 35 else 0), days
        assert mine.balance == queries.statement(them.pk, today - timedelta(days=365), day).closing
    found = queries.statement(them.pk, today - timedelta(days=90), today - timedelta(days=35))
    paper = reading.text(printing.statement(found))
    for said in (late_word, "123", credit_word, "50", "73"):
        assert said in paper, said
    assert "246" not in paper


def test_ages_of_any_day_come_to_the_balance_of_that_day(owner, customer):
    """Through a reversal, a credit note that is used later, a refund and a discount that is charged again."""
    business.edit_money_terms(None, by=owner, early_percent=D(2), early_days=10)
    with later(-40):
        first, second, third = (make.sale(owner, customer, price) for price in ("100", "80", "60"))
    with later(-35):
        bounced = invoices.record_payment(
            by=owner, customer_id=customer.pk, amount=D("120.54"), method="transfer", received_on=clock.today() - timedelta(days=1),
            allocations={first.pk: D("120.54")}, early=[first.pk],
        )  # fmt: skip
        make.pay(owner, second, "98.40")
    with later(-30):
        invoices.reverse_payment(bounced.pk, by=owner, reason="Bounced")
        note = invoices.credit_note(second.pk, by=owner, reason="Came back")
    with later(-20):
        invoices.allocate(by=owner, credit_note_id=note.pk, allocations={third.pk: D("33.80")})
    with later(-10):
        invoices.refund(by=owner, customer_id=customer.pk, amount=D("14.60"), method="transfer", paid_on=clock.today())
        make.pay(owner, first, "23")
    for days in range(45, -1, -1):
        day = clock.today() - timedelta(days=days)
        mine = queries.ages_at(customer, day)
        assert mine.balance == queries.statement(customer.pk, day, day).closing, day
        assert mine.credit >= 0
        assert min(mine.bands) >= 0
    (now,) = [a for a in queries.ages() if a.customer == customer]
    assert (now.bands, now.credit) == (mine.bands, mine.credit)


def test_no_statement_says_why_a_payment_was_reversed(owner, customer):
    row = make.sale(owner, customer)
    paid = invoices.record_payment(
        by=owner, customer_id=customer.pk, amount=D(123), method="transfer", received_on=clock.today(),
        reference="SEPA 4711", allocations={row.pk: D(123)},
    )  # fmt: skip
    invoices.reverse_payment(paid.pk, by=owner, reason="Bounced, they are broke")
    found = queries.statement(customer.pk, clock.today(), clock.today())
    assert [(e.what, e.number) for e, _ in found.entries][1:] == [("payment", "SEPA 4711"), ("reversal", "SEPA 4711")]
    assert "broke" not in reading.text(printing.statement(found))


def test_ages_on_page_csv_and_api(owner, customer, api, browser):
    for days in (-10, 15, 45, 75, 120):
        late.overdue(owner, customer, days=days)
    make.pay(owner, late.overdue(owner, customer, days=5), "150", "123")
    (mine,) = api(owner).get("aged-balances/now/").json()["items"]
    assert [mine[k] for k in ("not_due", "late_30", "late_60", "late_90", "later", "owed", "credit", "balance")] == [
        "123.00", "123.00", "123.00", "123.00", "123.00", "615.00", "27.00", "588.00",
    ]  # fmt: skip
    assert "€615.00" in words(browser.get("/accounts/"))
    csv = browser.get("/accounts/ages.csv").content.decode("utf-8-sig").splitlines()
    assert csv[1].startswith("Ebbing Oyster Fishery,123.0000,")


def test_letters_over_the_pages_and_api(owner, customer, api, browser):
    row = late.overdue(owner, customer)
    page = words(browser.get("/accounts/letters/"))
    assert row.number in page
    assert "Write it" in page
    assert [p["customer_id"] for p in api(owner).get("reminders/due/").json()["items"]] == [customer.pk]
    assert send(browser, f"/invoices/{row.pk}/dispute/", {}).status_code == 422
    send(browser, f"/invoices/{row.pk}/dispute/", {"reason": "The pump leaked"})
    assert "The pump leaked" in words(browser.get("/accounts/letters/"))
    (quarrel,) = api(owner).get("disputes/").json()["items"]
    assert api(owner).post(f"disputes/{quarrel['id']}/end/", {"outcome": "Settled"}).status_code == 200
    once = str(uuid.uuid4())
    for _ in range(2):
        assert send(browser, f"/customers/{customer.pk}/remind/", once=once).status_code == 303
    letter = Reminder.objects.get()
    assert browser.get(f"/accounts/letters/{letter.pk}/pdf/").content.startswith(b"%PDF")
    assert letter.number in words(browser.get(f"/customers/{customer.pk}/"))
    again = api(owner).post("reminders/", {"customer_id": customer.pk})
    assert (again.status_code, again.json()["type"]) == (409, "/api/problems/no-letter-due")


def test_storage_is_proposed_and_billed_once(owner, api, browser):
    card = make.finished(owner)
    business.edit_money_terms(None, by=owner, storage_per_day=D(4), storage_free_days=14)
    from jobs.cards import actions as cards

    cards.finish_card(card.pk, by=owner)
    assert queries.uncollected() == []
    with later(20):
        (stored,) = queries.uncollected()
        assert (stored.stay.days, stored.amount) == (6, D(24))
        assert "6" in words(browser.get("/accounts/storage/"))
        (read,) = api(owner).get("storage/due/").json()["items"]
        assert (read["days"], read["amount"]) == (6, "24.00")
        there = send(browser, f"/cards/{card.pk}/storage/")["Location"]
        draft = Invoice.objects.get(pk=int(there.split("/")[2]))
        assert draft.total_net == 24
        assert queries.uncollected() == []
        invoices.discard_invoice(draft.pk, None, by=owner)
        assert not StorageCharge.objects.exists()
        draft = actions.bill_storage(card.pk, by=owner)
        invoices.issue_invoice(draft.pk, None, by=owner)
    with later(23):
        assert queries.uncollected()[0].stay.days == 3
    JobCard.objects.filter(pk=card.pk).update(handed_over_at=clock.now())
    with later(40), pytest.raises(Refused, match="collected"):
        actions.bill_storage(card.pk, by=owner)


def test_storage_that_was_credited_whole_is_proposed_again(owner, api):
    """46 days at 10.00, credited; then at the right price, day for day."""
    card = make.finished(owner)
    business.edit_money_terms(None, by=owner, storage_per_day=D(10), storage_free_days=14)
    from jobs.cards import actions as cards

    cards.finish_card(card.pk, by=owner)

    def due() -> list:
        return [(x["days"], x["amount"]) for x in api(owner).get("storage/due/").json()["items"]]

    def billed() -> Invoice:
        made = api(owner).post("storage/", {"card_id": card.pk})
        return invoices.issue_invoice(made.json()["invoice_id"], None, by=owner)

    with later(60):
        assert due() == [(46, "460.00")]
        first = billed()
        assert due() == []
    with later(64):
        second = billed()  # the four days after
        business.edit_money_terms(None, by=owner, storage_per_day=D(4))
        half = invoices.credit_note(first.pk, by=owner, reason="Half", quantities={first.lines.get().pk: D(23)})
        assert due() == []
        invoices.credit_note(first.pk, by=owner, reason="The rest", quantities={first.lines.get().pk: D(23)})
        assert half.total_net == 230
        assert due() == [(46, "184.00")]
        assert billed().total_net == 184
        assert due() == []
        invoices.credit_note(second.pk, by=owner, reason="Wrong price")
    with later(65):
        assert due() == [(5, "20.00")]


def test_lists_stay_flat(owner, customer, browser, django_assert_max_num_queries):
    def look():
        for path in ("/accounts/", "/accounts/letters/", f"/customers/{customer.pk}/statement/"):
            assert browser.get(path).status_code == 200

    late.letter(owner, to=customer)
    late.overdue(owner)
    on_account(owner, late.overdue(owner, quote.customer(name="Reed Ferry")).customer, "150")
    with django_assert_max_num_queries(60) as few:
        look()
    for _ in range(4):
        late.overdue(owner, days=9)
        late.letter(owner)
        late.dispute(owner)
        on_account(owner, late.overdue(owner, quote.customer(name="Reed Ferry")).customer, "150")
    with django_assert_max_num_queries(len(few.captured_queries)):
        look()


def test_nobody_else_gets_in(mechanic, stores):
    for person in (mechanic, stores):
        client = Client()
        client.force_login(person)
        for path in ("/accounts/", "/accounts/ages.csv", "/accounts/letters/", "/accounts/storage/"):
            assert client.get(path).status_code == 403


def test_a_statement_over_days_the_wrong_way_round_is_refused_on_its_page(owner, customer, browser):
    late.overdue(owner, customer)
    answer = browser.get(
        f"/customers/{customer.pk}/statement.pdf", {"since": "2026-10-31", "until": "2026-10-01"}, follow=True
    )
    assert answer.redirect_chain
    assert answer.status_code == 422
    assert "The end lies before the beginning." in words(answer)
