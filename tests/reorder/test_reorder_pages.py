"""Pages of ordering, and the picture on them."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.test import Client
from django.utils import translation

from inventory.reorder import picture
from inventory.reorder.models import Proposal, ReorderRule
from shop.trail import outbox
from tests.factories.reorder import a_proposal, part_with_a_past, run

pytestmark = pytest.mark.django_db


@pytest.fixture
def client_of():
    def sign_in(person) -> Client:
        client = Client()
        client.force_login(person)
        return client

    return sign_in


def text(answer) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def send(client, path, **values):
    return client.post(path, {"once": str(uuid.uuid4()), **values}, follow=True)


def test_from_nothing_to_an_order(client_of, stores):
    client = client_of(stores)
    assert "Not worked out yet" in text(client.get("/reorder/"))
    part_with_a_past(stores, left="0")
    assert "It is being worked out" in text(send(client, "/reorder/run/"))
    outbox.drain()
    row = Proposal.objects.get()
    page = text(client.get("/reorder/"))
    assert "GKT-041" in page
    assert row.reason in page
    one = client.get(f"/reorder/{row.pk}/")
    assert row.reason in text(one)
    assert "Without the order nothing is left about" in text(one)
    assert "this order arrives" in text(one)
    done = send(client, f"/reorder/{row.pk}/order/", version=row.version, quantity="9")
    assert "Ordered." in text(done)
    row.refresh_from_db()
    assert (row.state, row.quantity, row.decided_by) == ("ordered", 9, stores)
    assert "Ordered" in text(client.get("/reorder/?state=ordered"))
    assert "Order it" not in text(client.get(f"/reorder/{row.pk}/"))


def test_not_now_needs_a_reason(client_of, office, stores):
    row = a_proposal(stores, left="0")
    client = client_of(office)
    answer = send(client, f"/reorder/{row.pk}/put-off/", version=row.version, note="")
    assert answer.status_code == 422
    send(client, f"/reorder/{row.pk}/put-off/", version=row.version, note="Wait for the spring list.")
    assert "Wait for the spring list." in text(client.get("/reorder/?state=put-off"))


def test_two_press_the_same_proposal(client_of, office, stores):
    row = a_proposal(stores, left="0")
    send(client_of(office), f"/reorder/{row.pk}/order/", version=row.version, quantity="4")
    late = send(client_of(stores), f"/reorder/{row.pk}/order/", version=row.version, quantity="7")
    assert late.status_code in (409, 412, 422)
    row.refresh_from_db()
    assert (row.quantity, row.decided_by) == (4, office)


def test_rules_are_added_and_changed(client_of, owner, stores):
    client = client_of(owner)
    made = part_with_a_past(stores, left="0")
    send(client, "/reorder/rules/add/", scope="", service_percent="90", budget="400")
    send(client, "/reorder/rules/add/", scope="gasket", lead_days="20")
    send(client, "/reorder/rules/add/", scope="part", part="gkt-041", cards_only="yes")
    assert text(client.get("/reorder/rules/")).count("GKT-041") == 1
    rule = ReorderRule.objects.get(part=made)
    assert rule.for_cards_only is True
    send(client, f"/reorder/rules/{rule.pk}/", version=rule.version, cards_only="", service_percent="97.5")
    rule.refresh_from_db()
    assert (rule.for_cards_only, rule.service_percent) == (None, D("97.5"))
    stale = send(client, f"/reorder/rules/{rule.pk}/", version=1, cards_only="no")
    assert "97.5" in text(stale)
    wrong = send(client, "/reorder/rules/add/", scope="part", part="")
    assert "Which part?" in text(wrong)


def test_the_pages_in_german_do_not_break(client_of, stores):
    row = a_proposal(stores, left="0")
    with translation.override("de"):
        answer = client_of(stores).get(f"/reorder/{row.pk}/", headers={"accept-language": "de"})
    assert answer.status_code == 200
    points = re.findall(r'points="([^"]+)"', answer.content.decode())
    assert len(points) == 2
    assert all(re.fullmatch(r"-?\d+(\.\d+)?,-?\d+(\.\d+)?", p) for line in points for p in line.split())


def figures(**more):
    return {
        "as_of": "2026-03-02", "lead_days": [[7, 60], [11, 40]], "review_days": 7, "monthly": "30.4375", "on_hand": "12",
        "reserved": "2", "too_old": "0", "level": "8", "comes": [], "goes": [],
    } | more  # fmt: skip


def test_the_line_falls_by_a_piece_a_day_and_rises_with_the_order():
    drawn = picture.draw(D(20), figures())
    assert drawn.arrives_on.isoformat() == "2026-03-16"
    assert drawn.short_on.isoformat() == "2026-03-12", "ten left, one a day"
    (arrival,) = drawn.steps
    assert (arrival.on, arrival.quantity, arrival.after) == (drawn.arrives_on, 20, 20)
    assert drawn.ends - drawn.begins == timedelta(days=36)


def test_the_picture_has_what_comes_and_goes():
    comes = [
        {"on": "2026-03-05", "quantity": "5", "what": "26-0007"},
        {"on": "2027-01-01", "quantity": "9", "what": "far"},
    ]
    goes = [{"on": "2026-02-20", "quantity": "4", "what": "card 26-0003"}]
    drawn = picture.draw(D(3), figures(comes=comes, goes=goes))
    assert [(s.on.isoformat(), s.quantity, s.what) for s in drawn.steps] == [
        ("2026-03-02", D(-4), "card 26-0003"), ("2026-03-05", 5, "26-0007"), ("2026-03-16", 3, ""),
    ]  # fmt: skip
    assert [m.up for m in drawn.marks] == [False, True, True]
    assert drawn.steps[0].after == 6


def test_every_point_lies_on_the_paper():
    for on_hand, monthly in (("0", "0"), ("-3", "2"), ("100000", "1"), ("0.25", "5000")):
        drawn = picture.draw(D(7), figures(on_hand=on_hand, reserved="0", monthly=monthly))
        for point in f"{drawn.without} {drawn.with_order}".split():
            x, y = map(D, point.split(","))
            assert 0 <= x <= picture.WIDTH
            assert 0 <= y <= picture.HEIGHT


def test_twice_as_many_take_no_more_statements(client_of, stores):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = client_of(stores)

    def counted() -> int:
        client.get("/reorder/")
        with CaptureQueriesContext(connection) as seen:
            assert client.get("/reorder/").status_code == 200
        return len(seen)

    for n in range(2):
        part_with_a_past(stores, f"GKT-{n}", past=(2, 3, 1, 2, 4, 1), left="0")
    run()
    few = counted()
    for n in range(2, 5):
        part_with_a_past(stores, f"GKT-{n}", past=(2, 3, 1, 2, 4, 1), left="0")
    run()
    assert counted() == few
