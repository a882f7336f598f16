"""Parts of a card over the pages, as mechanic and stores meet them."""

import uuid
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.parts import actions as parts
from inventory.stock.models import Movement, StockLevel
from jobs.cards import actions as cards
from jobs.draws import actions
from jobs.draws.models import Draw, Need
from shop.kernel import clock
from tests.factories import moments
from tests.factories.cards import a_card, a_stage
from tests.factories.parts import part
from tests.factories.stock import lot

pytestmark = pytest.mark.django_db


def said(answer):
    import html
    import re

    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())).split())


def send(client, url, **fields):
    return client.post(url, {"once": str(uuid.uuid4()), **fields})


@pytest.fixture
def bench(client, mechanic):
    client.force_login(mechanic)
    return client


@pytest.fixture
def where(stage):
    return f"/cards/{stage.card_id}/stages/{stage.pk}"


def on_hand(of):
    return StockLevel.objects.get(part=of).on_hand


def test_scan_a_part_confirm_and_put_it_back(bench, stage, gasket, where, stores):
    actions.add_need(by=stores, stage_id=stage.pk, part_id=gasket.pk, quantity=Decimal(2))
    page = said(bench.get(f"{where}/draw/"))
    assert "GKT-041 Head gasket, B2 2 to draw · bin A3-02" in page
    step = bench.get(f"{where}/draw/", {"part": "gkt-041"})
    assert 'value="2"' in step.content.decode()  # what the stage needs is offered
    assert "The stage needs 2: 0 drawn, 0 kept for it." in said(step)
    answer = send(bench, f"{where}/draw/?part=GKT-041", quantity="2")
    assert answer.status_code == 303
    page = said(bench.get(answer["Location"]))
    assert "Drew 2 of GKT-041 Head gasket, B2 from bin A3-02." in page
    assert on_hand(gasket) == 1
    draw = Draw.objects.get()
    back = send(bench, f"/draws/{draw.pk}/undo/")
    assert "Put back." in said(bench.get(back["Location"]))
    assert on_hand(gasket) == 3
    assert list(Movement.objects.order_by("id").values_list("kind", flat=True)) == ["receipt", "draw", "return"]


def test_a_lot_a_barcode_and_words_name_a_part(bench, stage, gasket, where, stores):
    parts.add_barcode(gasket.pk, by=stores, code="4006381333931")
    number = gasket.lots.get().number
    for code in ("4006381333931", "]C10104006381333931", number, number.lower()):
        assert "How many" in said(bench.get(f"{where}/draw/", {"part": code})), code
    page = bench.get(f"{where}/draw/", {"part": "head gask"})
    assert "Which one is it?" in said(page)
    assert "?part=GKT-041" in page.content.decode()
    page = bench.get(f"{where}/draw/", {"part": "NO-SUCH-9"})
    assert 'data-scan-unknown="NO-SUCH-9"' in page.content.decode()


def test_a_scanned_lot_is_drawn_though_another_comes_first(bench, stage, gasket, where, stores, shelf):
    later = lot(stores, gasket.pk, "5", "22.00", at=shelf)
    step = bench.get(f"{where}/draw/", {"part": later.number})
    assert f'<option value="{later.pk}:{shelf.pk}" selected>' in step.content.decode()
    send(bench, f"{where}/draw/?part={later.number}", quantity="1", source=f"{later.pk}:{shelf.pk}")
    assert Draw.objects.get().movement.lot == later


def test_a_refusal_says_who_it_is_kept_for_and_keeps_what_was_typed(bench, stage, gasket, where, stores, office):
    other = a_stage(a_card(office, site_id=stage.card.site_id), "Fit head")
    need = actions.add_need(by=stores, stage_id=other.pk, part_id=gasket.pk, quantity=Decimal(2))
    actions.keep(need.pk, by=stores)
    answer = send(bench, f"{where}/draw/?part=GKT-041", quantity="3")
    assert answer.status_code == 422
    page = said(answer)
    assert "Only 1 of GKT-041 is free: 3 in bin A3-02." in page
    assert f"2 are kept for card {other.card.number}" in page
    assert 'value="3"' in answer.content.decode()
    assert not Draw.objects.exists()


@pytest.mark.parametrize(
    "quantity", ["", "0", "-1", "NaN", "Infinity", "1e99", "0.5", "zwei", "1 000 000 000 000 000 000"]
)
def test_odd_quantities_draw_nothing(bench, stage, gasket, where, quantity):
    answer = send(bench, f"{where}/draw/?part=GKT-041", quantity=quantity)
    assert answer.status_code == 422
    assert not Draw.objects.exists()


def test_an_expired_lot_wants_the_owners_reason(client, owner, mechanic, stage, tube, where, monkeypatch):
    lasts = tube.lots.get().last_day
    later = moments.away((lasts - clock.today()).days + 1)
    monkeypatch.setattr(clock, "now", lambda: later)
    client.force_login(mechanic)
    answer = send(client, f"{where}/draw/?part=SEA-070", quantity="5")
    assert "An owner may let an expired lot be used" in said(answer)
    assert f"All of SEA-070 that lies here has expired: 70 ml, lot {tube.lots.get().number} in bin" in said(answer)
    assert "· expired " in said(answer)
    assert 'name="override"' not in answer.content.decode()
    assert send(client, f"{where}/draw/?part=SEA-070", quantity="5", override="mine").status_code in (403, 422)
    client.force_login(owner)
    asked = send(client, f"{where}/draw/?part=SEA-070", quantity="5")
    assert "Why may the expired lot be used? Only" in said(asked)  # and not "(optional)"
    answer = send(client, f"{where}/draw/?part=SEA-070", quantity="5", override="Tested on a scrap joint")
    assert answer.status_code == 303
    assert Draw.objects.get().movement.override == "Tested on a scrap joint"


def test_fitted_for_trial_spoiled_returned_and_taken_off(bench, stage, gasket, where):
    actions.draw(by=stage.card.opened_by, stage_id=stage.pk, part_id=gasket.pk, quantity=Decimal(3))
    draw = Draw.objects.get()
    url = f"/draws/{draw.pk}/"
    assert "Comes apart again; it is spent, another is needed" in said(bench.get(url))
    assert send(bench, url, quantity="1", do="trial").status_code == 303
    answer = send(bench, url, quantity="1", do="spoil")
    assert answer.status_code == 422
    assert "Say how it was spoiled." in said(answer)
    answer = send(bench, url, quantity="1", do="spoil", note="Torn at the edge")
    assert answer.status_code == 303, said(answer)
    assert send(bench, url, quantity="1", do="fit").status_code == 303
    assert send(bench, url, quantity="1", do="return").status_code == 422  # nothing in hand
    draw.refresh_from_db()
    assert (draw.spent, draw.fitted, draw.returned) == (2, 1, 0)
    assert Need.objects.get().quantity == 2
    assert send(bench, url, quantity="1", do="correct", note="Pressed the wrong one").status_code == 303
    assert send(bench, url, quantity="1", do="return").status_code == 303
    assert on_hand(gasket) == 1
    assert send(bench, url, quantity="1", do="melt").status_code == 422


def test_what_was_drawn_unasked_and_spent_says_how_many_it_takes_in_all(bench, stage, gasket, where):
    actions.draw(by=stage.card.opened_by, stage_id=stage.pk, part_id=gasket.pk, quantity=Decimal(1))
    assert "1 drawn" in said(bench.get(f"{where}/"))
    assert send(bench, f"/draws/{Draw.objects.get().pk}/", quantity="1", do="trial").status_code == 303
    assert "1 of 2 drawn, 1 spent" in said(bench.get(f"{where}/"))
    actions.draw(by=stage.card.opened_by, stage_id=stage.pk, part_id=gasket.pk, quantity=Decimal(1))
    assert "2 of 2 drawn, 1 spent" in said(bench.get(f"{where}/"))


def test_all_in_hand_is_fitted_with_one_press(bench, stage, gasket, tube, where):
    for drawn, quantity in ((gasket, 2), (tube, Decimal("12.5"))):
        actions.draw(by=stage.card.opened_by, stage_id=stage.pk, part_id=drawn.pk, quantity=Decimal(quantity))
    assert "2 parts in hand" in said(bench.get(f"{where}/"))
    assert send(bench, f"{where}/fit/").status_code == 303
    assert {d.fitted for d in Draw.objects.all()} == {Decimal(2), Decimal("12.5")}
    again = send(bench, f"{where}/fit/")
    assert "Nothing is in hand" in said(bench.get(again["Location"]))


def test_a_double_click_draws_once(bench, stage, gasket, where):
    sent = {"once": str(uuid.uuid4()), "quantity": "1"}
    first = bench.post(f"{where}/draw/?part=GKT-041", sent)
    assert bench.post(f"{where}/draw/?part=GKT-041", sent)["Location"] == first["Location"]
    assert on_hand(gasket) == 2


def test_a_need_is_listed_kept_changed_and_taken_off(client, office, stage, gasket, where):
    client.force_login(office)
    assert "Which" not in said(client.get(f"{where}/needs/"))
    assert "Free on the shelf: 3." in said(client.get(f"{where}/needs/", {"part": "GKT-041"}))
    assert send(client, f"{where}/needs/?part=GKT-041", quantity="2").status_code == 303
    need = Need.objects.get()
    url = f"/needs/{need.pk}/"
    assert send(client, f"{url}keep/").status_code == 303
    assert "2 kept" in said(client.get(url))
    actions.edit_need(need.pk, None, by=office, quantity=Decimal(3))
    stale = send(client, url, quantity="1", version=need.version)
    assert stale.status_code == 422
    assert "Somebody saved" in said(stale)
    need.refresh_from_db()
    assert send(client, url, quantity="1", version=need.version).status_code == 303
    assert StockLevel.objects.get(part=gasket).reserved == 1
    assert send(client, f"{url}let-go/").status_code == 303
    assert StockLevel.objects.get(part=gasket).reserved == 0
    assert send(client, f"{url}remove/").status_code == 303
    assert client.get(url).status_code == 404


def test_who_may_do_what(client, office, stores, stage, gasket, where):
    client.force_login(office)  # asks for parts, draws none
    assert client.get(f"{where}/draw/").status_code == 403
    assert client.get(f"{where}/needs/").status_code == 200
    client.force_login(stores)
    assert client.get(f"{where}/draw/").status_code == 200


def test_a_stage_under_another_card_is_not_found(bench, stage, office):
    other = a_card(office)
    assert bench.get(f"/cards/{other.pk}/stages/{stage.pk}/draw/").status_code == 404
    assert bench.get("/draws/999999/").status_code == 404
    assert send(bench, "/needs/999999/keep/").status_code == 404


def test_a_held_back_stage_draws_nothing_and_says_why(bench, office, stage, gasket, where):
    cards.edit_stage(stage.pk, None, by=office, needs_go_ahead=True)
    answer = send(bench, f"{where}/draw/?part=GKT-041", quantity="1")
    assert "The customer's go-ahead" in said(answer)


def test_the_number_of_queries_does_not_grow(bench, stores, stage, gasket, shelf, where):
    def count(url):
        with CaptureQueriesContext(connection) as queries:
            assert bench.get(url).status_code == 200
        return len(queries)

    def more(n):
        made = part(stores, f"GKT-1{n:02}", f"Gasket {n}")
        lot(stores, made.pk, "5", "1.00", at=shelf)
        actions.add_need(by=stores, stage_id=stage.pk, part_id=made.pk, quantity=Decimal(2))
        actions.draw(by=stores, stage_id=stage.pk, part_id=made.pk, quantity=Decimal(1))

    more(1)
    pages = (f"{where}/draw/", f"{where}/")
    [count(p) for p in pages]
    few = [count(p) for p in pages]
    for n in range(2, 8):
        more(n)
    assert [count(p) for p in pages] == few


@pytest.mark.parametrize("end", ["finish", "decline", "remove", "cancel"])
def test_what_is_kept_goes_back_when_the_work_ends(office, mechanic, stage, gasket, end):
    need = actions.add_need(by=office, stage_id=stage.pk, part_id=gasket.pk, quantity=Decimal(2))
    actions.keep(need.pk, by=office)
    assert StockLevel.objects.get(part=gasket).reserved == 2
    if end == "finish":
        cards.start_stage(stage.pk, by=mechanic)
        cards.finish_stage(stage.pk, by=mechanic)
    elif end == "decline":
        cards.decline([stage.pk], ref="estimate EST-26-0001", at=stage.card.opened_at, by=None)
    elif end == "remove":
        cards.remove_stage(stage.pk, by=office)
    else:
        cards.cancel_card(stage.card_id, by=office, reason="Sold the boat")
    assert StockLevel.objects.get(part=gasket).reserved == 0


def test_the_opened_rest_of_a_tube_goes_back_with_its_shorter_life(bench, stage, tube, gasket, where):
    actions.draw(by=stage.card.opened_by, stage_id=stage.pk, part_id=tube.pk, quantity=Decimal(50))
    actions.draw(by=stage.card.opened_by, stage_id=stage.pk, part_id=gasket.pk, quantity=Decimal(1))
    tube_drawn, gasket_drawn = (Draw.objects.get(part=p) for p in (tube, gasket))
    assert "Return the opened rest" not in said(bench.get(f"/draws/{gasket_drawn.pk}/"))
    assert "Return the opened rest" in said(bench.get(f"/draws/{tube_drawn.pk}/"))
    assert send(bench, f"/draws/{tube_drawn.pk}/", quantity="30", do="rest").status_code == 303
    (rest,) = tube.lots.filter(opened_from__isnull=False)
    assert rest.balances.get().on_hand == 30
    assert rest.last_day is not None
