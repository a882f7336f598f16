"""An estimate from card to the customer's word, over the API."""

from datetime import timedelta
from decimal import Decimal as D

import pytest

from jobs.cards.models import Stage
from jobs.estimates import actions, queries
from jobs.estimates.models import Estimate, EstimateLine
from shop.kernel import clock
from shop.trail.models import OutboxRow, TrailRow
from tests.documents import reading
from tests.factories import estimates as make

pytestmark = pytest.mark.django_db


def lines_of(client, pk):
    return client.get("estimate-lines/", estimate_id=pk).json()["items"]


def test_from_card_to_go_ahead(api, owner, office):
    card, fit, test, _rings = make.job(owner)
    client = api(office)
    made = client.post("estimates/", {"card_id": card.pk})
    assert made.status_code == 201, made.content
    pk = made.json()["id"]
    assert made["Location"] == f"/api/v1/estimates/{pk}/"
    assert (made.json()["state"], made.json()["number"]) == ("draft", "")
    # 3.5 h and 1.25 h at 68, 2 ring sets at 86.40; sundries 2.5 % of 495.80
    listed = [(x["kind"], x["quantity"], x["unit_price"], x["net"]) for x in lines_of(client, pk)]
    assert listed == [
        ("labour", "3.5", "68.00", "238.00"),
        ("labour", "1.25", "68.00", "85.00"),
        ("part", "2", "86.40", "172.80"),
        ("sundry", "1", "12.40", "12.40"),
    ]
    assert (made.json()["total_net"], made.json()["total_tax"], made.json()["total_gross"]) == (
        "508.20",
        "116.89",
        "625.09",
    )
    issued = client.post(f"estimates/{pk}/issue/")
    assert issued.status_code == 200, issued.content
    assert issued.json()["number"] == f"EST-{clock.today():%y}-0001"
    assert issued.json()["state"] == "open"
    assert issued.json()["valid_until"] == (clock.today() + timedelta(days=30)).isoformat()
    assert OutboxRow.objects.filter(topic="estimate.issued", payload={"estimate": pk}).count() == 1
    first, second, *others = lines_of(client, pk)
    said = client.post(
        f"estimates/{pk}/go-ahead/",
        {
            "answers": [{"line_id": x["id"], "accepted": x is not second} for x in (first, second, *others)],
            "how": "phone",
            "said_by": "Niamh Tolan",
            "said_at": clock.now().isoformat(timespec="seconds").replace("+00:00", "Z"),
        },
    )
    assert said.status_code == 201, said.content
    assert len(said.json()["document_hash"]) == 64
    fit.refresh_from_db(), test.refresh_from_db()
    assert fit.go_ahead_at is not None
    assert fit.go_ahead_ref == f"estimate {issued.json()['number']} revision 1"
    assert (test.go_ahead_at, test.declined_at is not None) == (None, True)
    assert [x["answer"] for x in lines_of(client, pk)] == ["accepted", "declined", "accepted", "accepted"]
    assert client.get(f"estimates/{pk}/").json()["state"] == "answered"
    assert [g["id"] for g in client.get("go-aheads/", estimate_id=pk).json()["items"]] == [said.json()["id"]]
    verbs = set(TrailRow.objects.values_list("verb", flat=True))
    assert {"estimate.drafted", "estimate.issued", "estimate.answered", "stage.go-ahead", "stage.declined"} <= verbs


def test_lines_are_edited_while_it_is_a_draft(api, owner):
    client = api(owner)
    pk = make.draft(owner).pk
    added = client.post(
        "estimate-lines/", {"estimate_id": pk, "kind": "sublet", "text": "Crack test", "unit_price": "118"}
    )
    assert added.status_code == 201, added.content
    line = added.json()["id"]
    changed = client.patch(f"estimate-lines/{line}/", {"discount_percent": "10", "discount_reason": "Our fault"})
    assert changed.status_code == 200, changed.content
    assert changed.json()["net"] == "106.20"
    assert changed.json()["how"][-1].endswith("less 10 % discount, €11.80, = €106.20.")
    stale = client.patch(f"estimate-lines/{line}/", {"unit_price": "1"}, etag=added["ETag"])
    assert stale.status_code == 412
    assert client.patch(f"estimate-lines/{line}/", {"unit_price": "1"}, etag=None).status_code == 428
    assert client.delete(f"estimate-lines/{line}/").status_code == 204
    assert len(lines_of(client, pk)) == 4
    first, second, *_ = lines_of(client, pk)
    assert client.post(f"estimate-lines/{second['id']}/move/", {"up": True}).status_code == 200
    assert [x["id"] for x in lines_of(client, pk)][:2] == [second["id"], first["id"]]
    edited = client.patch(
        f"estimates/{pk}/", {"discount_percent": "5", "discount_reason": "Old customer", "note": "Paint extra."}
    )
    assert (edited.json()["total_net"], edited.json()["note"]) == ("482.79", "Paint extra.")
    assert client.delete(f"estimates/{pk}/").status_code == 204
    assert not Estimate.objects.exists()
    assert TrailRow.objects.filter(verb="estimate.discarded").count() == 1


def test_sundries_follow_what_they_are_a_percentage_of(api, owner):
    client = api(owner)
    pk = make.draft(owner).pk
    first = lines_of(client, pk)[0]["id"]
    client.patch(f"estimate-lines/{first}/", {"quantity": "7.5"})
    assert lines_of(client, pk)[-1]["net"] == "19.20"  # 2.5 % of 767.80 = 19.195
    sundries = lines_of(client, pk)[-1]["id"]
    client.patch(f"estimate-lines/{sundries}/", {"unit_price": "5"})
    client.patch(f"estimate-lines/{first}/", {"quantity": "1"})
    assert lines_of(client, pk)[-1]["net"] == "5.00"
    assert "Price: set by Maren Holt." in lines_of(client, pk)[-1]["how"]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"kind": "gift", "text": "x"}, "/kind"),
        ({"text": ""}, "/text"),
        ({"text": "x", "quantity": "0"}, "/quantity"),
        ({"text": "x", "quantity": "-1"}, "/quantity"),
        ({"text": "x", "quantity": "1.5", "unit": "C62"}, "/quantity"),
        ({"text": "x", "quantity": 1}, "/quantity"),
        ({"text": "x", "unit": "QQQ"}, "/unit"),
        ({"text": "x", "unit_price": "-0.01"}, "/unit_price"),
        ({"text": "x", "unit_price": "100000000"}, "/unit_price"),
        ({"text": "x", "unit_price": "1", "discount_percent": "101", "discount_reason": "y"}, "/discount_percent"),
        ({"text": "x", "unit_price": "1", "discount_percent": "10"}, "/discount_reason"),
        ({"text": "x", "unit_price": "1", "markup": "10"}, "/cost"),
        ({"text": "x", "unit_price": "1", "stage_id": 999}, "/stage_id"),
        ({"text": "x", "part_id": 999}, "/part_id"),
        ({"text": "x", "net": "1"}, "/net"),
    ],
)
def test_a_bad_line_is_named_and_changes_nothing(api, owner, body, pointer):
    pk = make.draft(owner).pk
    answer = api(owner).post("estimate-lines/", {"estimate_id": pk} | body)
    assert answer.status_code == 400, answer.content
    assert pointer in [e["pointer"] for e in answer.json()["errors"]]
    assert EstimateLine.objects.count() == 4
    assert Estimate.objects.get().version == 1


def test_a_price_that_is_not_known_stops_the_issue(api, owner):
    card = make.card(owner)
    make.stage(owner, card, "Crack test of the head", kind="sublet", standard_hours=D(0))
    client = api(owner)
    pk = client.post("estimates/", {"card_id": card.pk}).json()["id"]
    refused = client.post(f"estimates/{pk}/issue/")
    assert (refused.status_code, refused.json()["type"]) == (409, "/api/problems/price-missing")
    line = refused.json()["facts"]["line_ids"][0]
    client.patch(f"estimate-lines/{line}/", {"cost": "98", "markup": "20"})
    assert client.post(f"estimates/{pk}/issue/").status_code == 200
    assert lines_of(client, pk)[0]["net"] == "117.60"


def test_what_is_issued_stays_and_a_revision_takes_its_place(api, owner):
    client = api(owner)
    old = make.agreed(owner, but=(2,))
    line = old.lines.first()
    for answer in (
        client.patch(f"estimate-lines/{line.pk}/", {"quantity": "9"}),
        client.delete(f"estimate-lines/{line.pk}/"),
        client.post("estimate-lines/", {"estimate_id": old.pk, "text": "x", "unit_price": "1"}),
        client.patch(f"estimates/{old.pk}/", {"note": "x"}),
        client.delete(f"estimates/{old.pk}/"),
        client.post(f"estimates/{old.pk}/issue/"),
        client.post(f"estimates/{old.pk}/withdraw/", {"reason": "They said yes already"}),
    ):
        assert answer.status_code == 409, answer.content
    draft = client.post(f"estimates/{old.pk}/new-revision/").json()
    assert (draft["number"], draft["revision"], draft["state"]) == (old.number, 2, "draft")
    assert client.post(f"estimates/{old.pk}/new-revision/").json()["facts"] == {"estimate_id": draft["id"]}
    # what was agreed stays agreed until the customer says otherwise, at the price that was agreed
    copied = lines_of(client, draft["id"])
    client.patch(f"estimate-lines/{copied[0]['id']}/", {"quantity": "5"})
    assert client.post(f"estimates/{draft['id']}/issue/").status_code == 200
    assert client.get(f"estimates/{old.pk}/").json()["state"] == "superseded"
    assert [x["answer"] for x in lines_of(client, draft["id"])] == ["accepted", "declined", "accepted", "accepted"]
    at_price = {a.line.pk: a.at_price.quantity for a in queries.agreed_on_card(old.card_id) if a.at_price}
    assert at_price[copied[0]["id"]] == D("3.5")
    said = {
        "answers": [{"line_id": line.pk, "accepted": True}],
        "how": "phone", "said_by": "N", "said_at": "2026-01-01T00:00:00Z",
    }  # fmt: skip
    assert client.post(f"estimates/{old.pk}/go-ahead/", said).json()["type"] == "/api/problems/superseded"


def test_leaving_out_what_was_agreed_but_not_begun_takes_the_go_ahead_back(api, owner):
    old = make.agreed(owner)
    client = api(owner)
    draft = client.post(f"estimates/{old.pk}/new-revision/").json()["id"]
    for line in lines_of(client, draft):
        if line["text"] == "Run on the brake":
            client.delete(f"estimate-lines/{line['id']}/")
    client.post(f"estimates/{draft}/issue/")
    assert Stage.objects.get(name="Run on the brake").go_ahead_at is None
    assert Stage.objects.get(name="Fit rings and pistons").go_ahead_at is not None


def test_a_go_ahead_needs_an_open_estimate_and_sense(api, owner, monkeypatch):
    client = api(owner)
    issued = make.issued(owner)
    line = issued.lines.first().pk
    now = clock.now()
    good = {
        "answers": [{"line_id": line, "accepted": True}],
        "how": "phone",
        "said_by": "N",
        "said_at": now.isoformat(),
    }
    for change, pointer in (
        ({"answers": []}, "/answers"),
        ({"answers": [{"line_id": 99999, "accepted": True}]}, "/answers"),
        ({"answers": [{"line_id": line, "accepted": True}] * 2}, "/answers"),
        ({"how": "link"}, "/how"),
        ({"said_by": " "}, "/said_by"),
        ({"said_at": (now + timedelta(hours=1)).isoformat()}, "/said_at"),
        ({"said_at": (now - timedelta(days=1)).isoformat()}, "/said_at"),
    ):
        answer = client.post(f"estimates/{issued.pk}/go-ahead/", good | change)
        assert answer.status_code == 400, (change, answer.content)
        assert pointer in [e["pointer"] for e in answer.json()["errors"]]
    assert not issued.go_aheads.exists()
    draft = client.post(f"estimates/{issued.pk}/new-revision/").json()["id"]
    assert client.post(f"estimates/{draft}/go-ahead/", good).json()["type"] == "/api/problems/not-issued"
    monkeypatch.setattr(clock, "today", lambda: issued.valid_until + timedelta(days=1))
    assert client.post(f"estimates/{issued.pk}/go-ahead/", good).json()["type"] == "/api/problems/expired"
    assert client.get(f"estimates/{issued.pk}/").json()["state"] == "expired"


def test_the_last_word_wins(owner):
    issued = make.agreed(owner)
    test = Stage.objects.get(name="Run on the brake")
    line = issued.lines.get(stage=test)
    make.say(owner, issued, {line.pk: False})
    test.refresh_from_db()
    assert test.declined_at is not None
    make.say(owner, issued, {line.pk: True})
    test.refresh_from_db()
    assert (test.declined_at, test.go_ahead_at is not None) == (None, True)


def test_only_one_estimate_of_a_card_is_with_the_customer(api, owner):
    issued = make.issued(owner)
    client = api(owner)
    refused = client.post("estimates/", {"card_id": issued.card_id})
    assert refused.json()["type"] == "/api/problems/estimate-open"
    make.stage(owner, issued.card, "Hone cylinder 2", kind="rework", standard_hours=D("2"))
    more = client.post("estimates/", {"card_id": issued.card_id, "kind": "additional"})
    assert more.status_code == 201
    assert [x["text"] for x in lines_of(client, more.json()["id"])] == [
        "Hone cylinder 2",
        "Sundries and small materials",
    ]


def test_a_notice_names_the_parts_that_an_agreed_stage_needs_besides(owner):
    """A cracked piston is found on a stage that was agreed, and one more ring set; what the customer declined is not named
    again."""
    card, fit, test, rings = make.job(owner)
    gasket, piston = make.part(owner, "GKT-9", "Gasket"), make.part(owner, "PST-4", "Piston", price="140")
    make.need(owner, test, gasket, "1")
    issued = make.issued(owner, card)
    make.say(owner, issued, {x.pk: x.part_id != gasket.pk for x in issued.lines.all()})
    make.need(owner, fit, piston, "1")
    make.need(owner, fit, rings, "1")
    more = make.draft(owner, card, kind="additional")
    parts = more.lines.filter(kind="part").values_list("stage", "part", "quantity", "unit_price")
    assert set(parts) == {(fit.pk, piston.pk, 1, 140), (fit.pk, rings.pk, 1, D("86.4"))}
    assert not more.lines.filter(kind="labour").exists()
    actions.issue_estimate(more.pk, None, by=owner)
    assert not make.draft(owner, card, kind="additional").lines.exists(), "all of it is named now"


def test_a_part_typed_without_a_stage_is_named_already(owner):
    card, fit, _test, _rings = make.job(owner)
    piston = make.part(owner, "PST-4", "Piston", price="140")
    draft = make.draft(owner, card)
    actions.add_line(draft.pk, None, by=owner, kind="part", part_id=piston.pk, quantity=D(1))
    actions.issue_estimate(draft.pk, None, by=owner)
    make.need(owner, fit, piston, "3")
    (line,) = make.draft(owner, card, kind="additional").lines.filter(kind="part")
    assert (line.part_id, line.quantity) == (piston.pk, 2)


def test_finding_out_is_on_the_estimate_with_the_hours_it_took(owner):
    from jobs.cards import actions as cards
    from jobs.timebook import actions as timebook

    card = make.card(owner)
    strip = make.stage(owner, card, "Strip", kind="strip", needs_go_ahead=False, standard_hours=D("2"))
    start = clock.now() - timedelta(hours=4)
    timebook.book(
        by=owner, person_id=owner.pk, stage_id=strip.pk, started_at=start, ended_at=start + timedelta(hours=2, minutes=30), break_minutes=0,
        reason="Forgot the clock",
    )  # fmt: skip
    cards.start_stage(strip.pk, by=owner) if Stage.objects.get(pk=strip.pk).started_at is None else None
    cards.finish_stage(strip.pk, by=owner)
    line = make.draft(owner, card).lines.first()
    assert (line.text, line.quantity) == ("Strip", D("2.5"))


def test_rights_cost_and_margin(api, owner, office, mechanic, stores):
    pk = make.draft(owner).pk
    line = EstimateLine.objects.filter(estimate=pk).first()
    client = api(owner)
    client.patch(f"estimate-lines/{line.pk}/", {"cost": "100"})
    seen = client.get(f"estimate-lines/{line.pk}/").json()
    assert (seen["cost"], seen["margin"]) == ("100.00", "138.00")
    for nosy in (mechanic, stores):
        assert api(nosy).get(f"estimates/{pk}/").status_code == 403
        assert api(nosy).get(f"estimates/{pk}/pdf/").status_code == 403
    clerk = api(office)
    assert not {"cost", "margin"} & set(clerk.get(f"estimate-lines/{line.pk}/").json())
    assert not {"cost", "margin"} & set(lines_of(clerk, pk)[0])
    given = {"discount_percent": "5", "discount_reason": "Asked nicely"}
    assert clerk.patch(f"estimates/{pk}/", given).status_code == 403
    assert clerk.patch(f"estimate-lines/{line.pk}/", given).status_code == 403
    assert clerk.patch(f"estimate-lines/{line.pk}/", {"quantity": "4"}).status_code == 200


def test_lists_filter_page_and_ask_the_database_no_more_for_more_rows(api, owner, django_assert_max_num_queries):
    client = api(owner)
    first = make.issued(owner)
    for n in range(6):
        make.draft(owner, make.card(owner, make.customer(name=f"Customer {n}")))
    with django_assert_max_num_queries(6) as few:
        assert len(client.get("estimates/", limit=3).json()["items"]) == 3
    with django_assert_max_num_queries(len(few.captured_queries)):
        assert len(client.get("estimates/", limit=7).json()["items"]) == 7
    assert [x["id"] for x in client.get("estimates/", state="open").json()["items"]] == [first.pk]
    assert [x["id"] for x in client.get("estimates/", number="est").json()["items"]] == [first.pk]
    assert client.get("estimates/", state="odd").status_code == 400
    with django_assert_max_num_queries(9):
        assert len(lines_of(client, first.pk)) == 4


def test_the_pdf_says_the_same_and_never_changes(api, owner):
    issued = make.issued(owner)
    client = api(owner)
    answer = client.get(f"estimates/{issued.pk}/pdf/")
    assert answer["Content-Type"] == "application/pdf"
    text = reading.text(answer.content)
    stated = client.get(f"estimates/{issued.pk}/").json()
    for figure in ("total_net", "total_tax", "total_gross"):
        assert stated[figure] in text
    for x in lines_of(client, issued.pk):
        assert x["net"] in text
    for said in ("EST-", "Ebbing Oyster Fishery", "Brindlecote B2", "B2-40417", "Sample data", "Ring set, B2"):
        assert said in text, said
    make.part(owner, "RNG-079")
    from inventory.parts import actions as parts
    from jobs.machines import actions as machines

    parts.edit_part(
        issued.lines.get(kind="part").part_id, None, by=owner, number="RNG-900", name="Other", sale_price=D(1)
    )
    machines.edit_customer(issued.card.customer_id, None, by=owner, name="Somebody Else")
    assert client.get(f"estimates/{issued.pk}/pdf/").content == answer.content
    draft = client.post(f"estimates/{issued.pk}/new-revision/").json()["id"]
    assert "DRAFT" in reading.text(client.get(f"estimates/{draft}/pdf/").content)
