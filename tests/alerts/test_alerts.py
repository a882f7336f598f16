"""The list of the day: page, API, mail."""

import re
from datetime import datetime, timedelta
from decimal import Decimal as D

import pytest
from django.core import mail as sent
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.parts import actions as parts
from inventory.stock import actions as stock
from jobs.alerts import actions, gathering, queries, tasks, telling
from jobs.alerts.models import Alert, DailyList
from jobs.draws import actions as draws
from shop.kernel import clock
from shop.people.models import Person
from shop.trail import chores, outbox
from shop.trail.models import OutboxRow
from tests.factories.alerts import expires_in, kept_goes_bad, ordered, runs_low
from tests.factories.desk import scene
from tests.factories.parts import part

pytestmark = pytest.mark.django_db
MORNING = datetime(2026, 11, 25, 7, 0)  # noqa: DTZ001 - made local below


@pytest.fixture
def days():
    """days(n): the morning n days after the first, at which the clock then stands."""
    first = timezone.make_aware(MORNING)
    stopped = []

    def go(n: int = 0, hours: int = 0):
        while stopped:
            stopped.pop().__exit__(None, None, None)
        at = clock.at(first + timedelta(days=n, hours=hours))
        at.__enter__()
        stopped.append(at)

    go()
    yield go
    go()
    stopped.pop().__exit__(None, None, None)


def wants_mail(person, address="p@saltmarsh.example"):
    Person.objects.filter(pk=person.pk).update(email=address)
    person.refresh_from_db()
    actions.choose_mail("daily", None, by=person)


def mails():
    outbox.drain()
    return [m.to[0] for m in sent.outbox]


def keys(person, **more):
    return sorted(a.key.split(":")[0] for a in queries.of(person, aside=False).filter(**more))


def test_who_is_told_what(shop, owner, office, stores, mechanic, mechanic2):
    runs_low(shop.gasket)
    kept_goes_bad(shop, office)
    ordered(stores, part(stores, "FLT-1"), -3)
    tasks.daily()
    assert keys(owner) == keys(stores) == ["bad", "lot", "order", "part"]
    assert keys(office) == ["bad", "part"]
    assert keys(mechanic) == ["bad"], "it is the mechanic's stage"
    assert keys(mechanic2) == []
    assert DailyList.objects.count() == 5
    assert [queries.waiting_for(p) for p in (owner, office, mechanic, mechanic2)] == [4, 2, 1, 0]


def test_the_page_says_it_in_sentences_new_first(at, press, text, shop, stores, days):
    runs_low(shop.gasket)
    actions.look_daily()
    days(1)
    lot = expires_in(shop.tube, 3)
    ordered(stores, part(stores, "FLT-1"), -1)
    actions.look_daily()
    page = text(at(stores).get("/alerts/"))
    new, known = page.split("Known")
    assert f"Expires soon SEA-070 Flange sealant: 70 ml of lot {lot.number} in bin A3-02 must be used by" in new
    assert "Gullhaven Seals: 1 line should have come by" in new
    assert "Ask where it stays." in new
    assert "Low GKT-041 Head gasket, B2: 3 unpromised, reorder at 5." in known
    whole = at(stores).get("/alerts/").content.decode()
    assert f'href="/stock/lots/{lot.pk}/"' in whole
    assert re.search(r'Alerts <span class="nav-count"><span aria-hidden="true">3</span>', whole)


def test_what_is_coming_late_names_card_and_order(at, text, shop, office, stores):
    filter_ = part(stores, "FLT-1")
    draws.add_need(by=office, stage_id=shop.measure.pk, part_id=filter_.pk, quantity=D(2))
    order = ordered(stores, filter_, 9)
    actions.look()
    page = text(at(office).get("/alerts/"))
    assert page.count("Promised day in danger") == 1
    assert f"Promised day in danger Card {shop.card.number}, promised" in page
    assert f"({order.number}). Hurry the delivery, or promise another day." in page


def test_a_list_a_day_and_none_before_five(shop, stores, days):
    runs_low(shop.gasket)
    for hours in (0, 1, 12, 20):  # 7, 8, 19 o'clock and 3 at night
        days(0, hours)
        actions.look_daily()
    assert DailyList.objects.filter(person=stores).count() == 1
    days(0, 22)
    actions.look_daily()
    assert [str(row.day) for row in queries.lists(stores).order_by("day")] == ["2026-11-25", "2026-11-26"]


def test_what_is_over_goes_and_what_gets_worse_is_new_again(shop, stores, days):
    runs_low(shop.gasket)
    actions.look_daily()
    days(1)
    actions.look_daily()
    assert keys(stores, fresh=True) == []
    stock.scrap(
        by=stores, lot_id=shop.gasket.lots.get().pk, bin_id=shop.shelf.pk, quantity=D(3), reason="Crushed"
    )  # fmt: skip
    days(2)
    actions.look_daily()
    assert keys(stores, fresh=True) == ["part"]
    parts.edit_part(shop.gasket.pk, None, by=stores, reorder_point=None)
    days(2, 1)
    actions.look(by=stores)
    assert keys(stores) == []
    assert queries.waiting_for(stores) == 0
    assert Alert.objects.get(ended_at__isnull=False).key == f"part:{shop.gasket.pk}"


def test_what_is_found_in_the_afternoon_is_still_new_the_next_morning(shop, stores, days):
    actions.look_daily()
    days(0, 8)
    runs_low(shop.gasket)
    actions.look(by=stores)
    assert keys(stores, fresh=True) == ["part"]
    days(1)
    actions.look_daily()
    assert keys(stores, fresh=True) == ["part"]
    days(2)
    actions.look_daily()
    assert keys(stores, fresh=True) == []


def test_one_mail_a_day_with_what_is_new_and_none_without(shop, stores, office, days):
    wants_mail(stores)
    runs_low(shop.gasket)
    for _ in range(3):
        actions.look()
    actions.look(by=stores)
    assert mails() == ["p@saltmarsh.example"]
    body = sent.outbox[0].body
    assert sent.outbox[0].subject.endswith(": 1 new alert")
    assert "- GKT-041 Head gasket, B2: 3 unpromised, reorder at 5." in body
    assert "21.40" not in body
    days(1)
    actions.look_daily()
    assert len(mails()) == 1, "nothing is new"
    days(1, 1)
    expires_in(shop.tube, 3)
    actions.look()
    assert len(mails()) == 1, "the day has its list; this comes with the next"
    days(2)
    actions.look_daily()
    assert len(mails()) == 2
    assert "must be used by" in sent.outbox[1].body
    assert "GKT-041" not in sent.outbox[1].body
    assert "2 stand on your list in all" in sent.outbox[1].body


def test_no_mail_for_who_left_or_has_nothing_on_the_list(shop, stores, mechanic2):
    for person in (stores, mechanic2):
        wants_mail(person)
    Person.objects.filter(pk=stores.pk).update(is_active=False)
    runs_low(shop.gasket)
    actions.look()
    assert mails() == []


def test_set_aside_until_a_day(at, press, text, shop, stores, owner, days):
    runs_low(shop.gasket)
    actions.look_daily()
    row = Alert.objects.get()
    browser = at(stores)
    assert browser.get(f"/alerts/{row.pk}/aside/").status_code == 200
    wrong = press(browser, f"/alerts/{row.pk}/aside/", until="2026-11-25")
    assert wrong.status_code == 422
    assert "This day has come already" in text(wrong)
    assert press(browser, f"/alerts/{row.pk}/aside/", until="2026-11-27").status_code == 303
    page = text(browser.get("/alerts/"))
    assert "Nothing asks for you" in page
    assert "Set aside Low GKT-041" in page
    assert "until Fri 27\u00a0Nov 2026" in page.replace("27 Nov", "27\u00a0Nov")
    assert queries.waiting_for(stores) == 0
    assert queries.waiting_for(owner) == 1, "others keep it"
    days(1)
    actions.look_daily()
    assert keys(stores) == []
    days(2)
    actions.look_daily()
    assert keys(stores, fresh=True) == ["part"], "its day has come: it is new again"
    days(3)
    actions.look_daily()
    assert keys(stores, fresh=False) == ["part"]


def test_set_aside_until_it_changes_and_brought_back(at, press, shop, stores, days):
    lot = expires_in(shop.tube, 10)
    actions.look_daily()
    row = Alert.objects.get(key=f"lot:{lot.pk}")
    actions.set_aside(row.pk, by=stores)
    actions.look()
    assert keys(stores) == []
    assert press(at(stores), f"/alerts/{row.pk}/back/").status_code == 303
    assert queries.waiting_for(stores) == 1
    actions.set_aside(row.pk, by=stores)
    days(4)
    actions.look_daily()
    assert keys(stores, fresh=True) == ["lot"], "within a week now: another state"


def test_nobody_touches_what_is_not_for_them(at, press, shop, stores, mechanic2, api):
    runs_low(shop.gasket)
    actions.look()
    row = Alert.objects.get()
    assert at(mechanic2).get(f"/alerts/{row.pk}/aside/").status_code == 404
    assert api(mechanic2).get(f"alerts/{row.pk}/").status_code == 404
    assert api(mechanic2).post(f"alerts/{row.pk}/set-aside/").status_code == 404
    assert api(mechanic2).get("alerts/").json()["items"] == []


def test_the_api_tells_the_same(api, shop, stores, office):
    runs_low(shop.gasket)
    kept_goes_bad(shop, office)
    client = api(stores)
    assert client.post("alerts/").json() == {"waiting": 3}
    items = client.get("alerts/").json()["items"]
    assert [i["kind"] for i in items] == ["danger", "expiring", "low"]
    assert items[2]["text"] == "GKT-041 Head gasket, B2: 3 unpromised, reorder at 5."
    assert items[2]["facts"]["point"] == "5"
    assert items[0]["new"] is True
    answer = client.post(f"alerts/{items[2]['id']}/set-aside/", {"until": str(clock.today() + timedelta(days=9))})
    assert (answer.status_code, answer.json()["set_aside"]) == (200, True)
    assert [i["kind"] for i in client.get("alerts/", set_aside="false").json()["items"]] == ["danger", "expiring"]
    assert client.get("alert-lists/").json()["items"][0]["waiting"] == 2
    today = telling.day_of(timezone.localtime(clock.now()))  # before the morning it is the day before
    bad = client.post(f"alerts/{items[0]['id']}/set-aside/", {"until": str(today)})
    assert (bad.status_code, bad.json()["errors"][0]["pointer"]) == (400, "/until")
    assert client.post(f"alerts/{items[2]['id']}/bring-back/").json()["set_aside"] is False
    assert client.get("alerts/", kind="low", new="true").json()["items"][0]["id"] == items[2]["id"]
    parts.edit_part(shop.gasket.pk, None, by=stores, reorder_point=None)
    actions.look()
    over = client.post(f"alerts/{items[2]['id']}/set-aside/")
    assert (over.status_code, over.json()["type"].rsplit("/", 1)[-1]) == (409, "alert-over")


def test_the_choice_of_mail(at, press, text, api, stores):
    stores.email = ""
    stores.save()
    browser = at(stores)
    assert "No mail comes of the day's alerts" in text(browser.get("/me/"))
    refused = press(browser, "/me/alerts/", mail="daily", version="1")
    assert refused.status_code == 422
    assert "No mail address is known of you" in text(refused)
    Person.objects.filter(pk=stores.pk).update(email="t@saltmarsh.example")
    assert press(browser, "/me/alerts/", mail="daily", version="1").status_code == 303
    assert "One mail a day, when something is new" in text(browser.get("/me/"))
    assert press(browser, "/me/alerts/", mail="off", version="1").status_code == 422, "stale"
    client = api(Person.objects.get(pk=stores.pk))
    assert client.get("alert-mail/").json()["mail"] == "daily"
    assert client.patch("alert-mail/", {"mail": "never"}).status_code == 400
    assert client.patch("alert-mail/", {"mail": "off"}).json()["mail"] == "off"


def test_a_chore_does_it():
    assert "alerts.daily" in [c.name for c in chores.known()]


def test_the_menu_costs_one_query_by_its_index(shop, stores):
    actions.look()
    with CaptureQueriesContext(connection) as told:
        queries.waiting_for(stores)
    assert len(told) == 1
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("EXPLAIN QUERY PLAN " + told[0]["sql"])
            plan = " ".join(row[3] for row in cursor.fetchall())
        assert "alerts_list_once" in plan or "INDEX" in plan
        assert "SCAN" not in plan
    client = Client()
    client.force_login(stores)
    client.get("/labels/")
    with CaptureQueriesContext(connection) as told:
        client.get("/labels/")
    assert sum("jobs_alerts" in q["sql"] for q in told) == 1


def test_pages_and_looking_do_not_ask_more_when_there_is_more(at, shop, stores, office):
    def count(work):
        work()
        with CaptureQueriesContext(connection) as told:
            work()
        return len(told)

    runs_low(shop.gasket)
    kept_goes_bad(shop, office)
    actions.look()
    browser = at(stores)
    work = (lambda: browser.get("/alerts/")), (lambda: gathering.gather(clock.today())), actions.look
    before = [count(each) for each in work]
    for n in range(6):
        more = scene()
        kept_goes_bad(more, office)
        runs_low(more_parts := part(stores, f"FLT-{n}"))
        ordered(stores, more_parts, -n - 1)
    actions.look()
    assert [count(each) for each in work] == before
    assert Alert.objects.filter(ended_at__isnull=True).count() > 10


def test_the_outbox_holds_no_more_than_a_mail_a_person(shop, stores, owner):
    for person in (stores, owner):
        wants_mail(person, f"{person.username}@saltmarsh.example")
    runs_low(shop.gasket)
    actions.look()
    actions.look()
    assert OutboxRow.objects.filter(topic="mail.send").count() == 2
