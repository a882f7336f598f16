"""Count lists: blind, with a second look, posted by the moment that each lot was counted."""

from __future__ import annotations

import re
import uuid
from decimal import Decimal as D

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.stock import actions, counts, ledger
from inventory.stock.models import Balance, CountLine, CountList, CountTally, Movement, Reservation
from shop.kernel import clock
from shop.kernel.errors import BadInput, NotFound, Refused
from tests.factories import moments
from tests.factories import parts as made_parts
from tests.factories import stock as made

pytestmark = pytest.mark.django_db


@pytest.fixture
def lots(stores, gasket, sealant, shelf):
    return made.lot(stores, gasket.pk, "10", "4.20"), made.lot(stores, sealant.pk, "420", "0.20")


@pytest.fixture
def line(stores, site, shelf, lots) -> CountLine:
    actions.start_count(by=stores, site_id=site.pk, bin_ids=[shelf.pk])
    return CountLine.objects.get()


def say(by, line, lot, counted: str) -> CountTally:
    return actions.tally(by=by, line_id=line.pk, lot_id=lot.pk, counted=D(counted))


def finish(by, line, *gone) -> CountLine:
    return actions.finish_line(by=by, line_id=line.pk, gone_lot_ids=[lot.pk for lot in gone])


def close(by, line, reason="miscounted at receipt") -> CountLine:
    return actions.close_line(by=by, line_id=line.pk, reason=reason)


def on_hand(lot) -> D:
    return sum(Balance.objects.filter(lot=lot).values_list("on_hand", flat=True), D(0))


def test_what_agrees_is_closed_at_once_and_remembers_when(stores, line, lots):
    say(stores, line, lots[0], "10")
    say(stores, line, lots[1], "420")
    assert finish(stores, line).closed_at is not None
    assert not Movement.objects.filter(kind="count").exists()
    assert Balance.objects.filter(counted_at__isnull=True).count() == 0
    assert counts.lists(open_only=True).count() == 0
    with pytest.raises(Refused, match="has ended"):
        say(stores, line, lots[0], "9")


def test_the_shop_goes_on_drawing_while_it_is_counted(stores, mechanic, site, gasket, line, lots):
    """Nine of ten are seen; then two are drawn, three come in from another bin, and only then it is posted."""
    say(stores, line, lots[0], "9")
    actions.draw(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(2), label="card 26-0031")
    say(stores, line, lots[1], "420")
    finish(stores, line)
    say(mechanic, line, lots[0], "7")  # the second look: eight should lie there by now
    actions.draw(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(4), label="card 26-0040")
    close(stores, line)
    assert on_hand(lots[0]) == 3
    posted = Movement.objects.get(kind="count")
    assert (posted.quantity, posted.reason, posted.by) == (D(-1), "miscounted at receipt", stores)
    assert posted.label == f"count {line.count.number}"
    told = list(CountTally.objects.filter(lot=lots[0]).values_list("counted", "expected", "again", "by"))
    assert told == [(D(9), D(10), False, stores.pk), (D(7), D(8), True, mechanic.pk)]
    assert list(ledger.wrong()) == []


def test_a_difference_beyond_the_limits_needs_a_second_look(stores, line, lots):
    say(stores, line, lots[0], "8")  # 20 %
    say(stores, line, lots[1], "419")  # 0.20 of money, 0.2 %
    assert finish(stores, line).closed_at is None
    assert [t.lot_id for t in counts.to_look_at_again(line, counts.last_tallies(line))] == [lots[0].pk]
    with pytest.raises(Refused, match="second time first: GKT-041") as refused:
        close(stores, line)
    assert refused.value.facts["lot_ids"] == [lots[0].pk]
    say(stores, line, lots[0], "8")
    close(stores, line)
    assert (on_hand(lots[0]), on_hand(lots[1])) == (8, 419)


def test_the_second_look_may_find_it_after_all(stores, line, lots):
    say(stores, line, lots[0], "1")
    say(stores, line, lots[1], "420")
    finish(stores, line)
    say(stores, line, lots[0], "10")
    close(stores, line)
    assert not Movement.objects.filter(kind="count").exists()


def test_what_was_not_seen_is_named_and_said_to_be_gone(stores, line, lots):
    say(stores, line, lots[0], "10")
    with pytest.raises(Refused, match="Not counted yet: SEA-070") as refused:
        finish(stores, line)
    assert refused.value.facts["lot_ids"] == [lots[1].pk]
    finish(stores, line, lots[1])
    say(stores, line, lots[1], "0")
    close(stores, line, "tube fell behind the rack")
    assert on_hand(lots[1]) == 0
    assert list(ledger.wrong()) == []


def test_what_came_meanwhile_is_not_said_to_be_gone(stores, line, lots, gasket, shelf):
    """A lot that arrived after the person had read the list is not in `gone`, so it is asked for and never wiped out."""
    say(stores, line, lots[0], "10")
    fresh = made.lot(stores, gasket.pk, "5")
    with pytest.raises(Refused, match=fresh.number):
        finish(stores, line, lots[1])
    assert not CountTally.objects.filter(lot=lots[1]).exists()  # nothing half-written


def test_more_was_drawn_than_lies_there_so_it_is_counted_again(stores, site, gasket, line, lots):
    say(stores, line, lots[0], "2")
    say(stores, line, lots[1], "420")
    finish(stores, line)
    say(stores, line, lots[0], "2")
    actions.draw(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(5), label="card 26-0031")
    with pytest.raises(Refused, match="drawn meanwhile") as refused:
        close(stores, line)
    assert refused.value.code == "count-again"
    say(stores, line, lots[0], "0")
    close(stores, line)
    assert on_hand(lots[0]) == 0


def test_the_same_difference_is_not_posted_by_two_counts(stores, site, shelf, line, lots):
    other = actions.start_count(by=stores, site_id=site.pk, bin_ids=[shelf.pk]).lines.get()
    for each in (line, other):
        say(stores, each, lots[0], "9")
        say(stores, each, lots[1], "420")
        finish(stores, each)
        say(stores, each, lots[0], "9")
    close(stores, line)
    with pytest.raises(Refused, match="counted by somebody else"):
        close(stores, other)
    say(stores, other, lots[0], "9")
    close(stores, other)
    assert on_hand(lots[0]) == 9
    assert Movement.objects.filter(kind="count").count() == 1


def test_something_found_where_none_should_lie(stores, line, lots, gasket):
    box = made.bin_(stores, "B7")
    elsewhere = made.lot(stores, gasket.pk, "5", "4.80", at=box)
    say(stores, line, elsewhere, "2")
    finish(stores, line, *lots)
    for lot, counted in ((lots[0], "10"), (lots[1], "420"), (elsewhere, "2")):
        say(stores, line, lot, counted)
    close(stores, line, "lay in the wrong bin")
    assert Balance.objects.get(lot=elsewhere, bin=line.bin).on_hand == 2
    assert Movement.objects.get(kind="count").value == D("9.60")
    assert list(ledger.wrong()) == []


def test_promises_are_shortened_to_what_is_there(stores, site, gasket, line, lots):
    kept = actions.reserve(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(9), label="card 26-0031")
    say(stores, line, lots[0], "4")
    say(stores, line, lots[1], "420")
    finish(stores, line)
    say(stores, line, lots[0], "4")
    close(stores, line)
    assert Reservation.objects.get(pk=kept.pk).quantity == 4
    assert list(ledger.wrong()) == []


def test_only_one_part_of_a_bin(stores, site, gasket, sealant, shelf, lots):
    with clock.at(moments.away(400)):
        row = actions.start_cycle(by=stores, site_id=site.pk, most=1)
        line = row.lines.get()
        mine = next(lot for lot in lots if lot.part_id == line.part_id)
        other = next(lot for lot in lots if lot.part_id != line.part_id)
        with pytest.raises(BadInput, match="only"):
            say(stores, line, other, "1")
        say(stores, line, mine, str(mine.movements.get().quantity))
        assert finish(stores, line).closed_at
        (line,) = actions.start_cycle(by=stores, site_id=site.pk, most=5).lines.all()  # the counted one isn't due again
        assert line.part_id == other.part_id
        with pytest.raises(Refused, match="Nothing is due"):
            actions.start_cycle(by=stores, site_id=site.pk)


def test_a_cycle_knows_value_movements_and_the_last_count(stores, site, gasket, sealant, shelf):
    lot = made.lot(stores, gasket.pk, "100", "4.20")
    made.lot(stores, sealant.pk, "420", "0.20")
    actions.count(by=stores, lot_id=lot.pk, bin_id=shelf.pk, counted=D(100))
    with clock.at(moments.away(2)):
        for _ in range(20):
            actions.draw(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(1), label="card 26-0031")
        moved = {(p.part_id, p.moves) for p in counts.places(site.pk)}
        assert moved == {(gasket.pk, 20), (sealant.pk, 0)}
        assert counts.used_in_a_year() == {gasket.pk: D(84)}
        (line,) = actions.start_cycle(by=stores, site_id=site.pk).lines.all()
        assert line.part_id == gasket.pk


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"bin_ids": []}, "at least one bin"), ({"bin_ids": [10**9]}, "no such bin"), ({"limit_value": D(-1)}, "limit"),
        ({"limit_percent": D(1000)}, "limit"), ({"site_id": 10**9}, "another site"),
    ],
)  # fmt: skip
def test_a_list_that_can_not_be(stores, site, shelf, given, says):
    with pytest.raises((BadInput, NotFound)) as refused:
        actions.start_count(**{"by": stores, "site_id": site.pk, "bin_ids": [shelf.pk]} | given)
    assert says in f"{refused.value.message} {refused.value.fields}"
    assert not CountList.objects.exists()


def test_wrong_words(stores, line, lots):
    for counted, says in ((D(-1), "zero or more"), (D("0.5"), "whole")):
        with pytest.raises(BadInput) as refused:
            actions.tally(by=stores, line_id=line.pk, lot_id=lots[0].pk, counted=counted)
        assert says in f"{refused.value.message} {refused.value.fields}"
    for work in (
        lambda: actions.tally(by=stores, line_id=10**9, lot_id=lots[0].pk, counted=D(1)),
        lambda: actions.tally(by=stores, line_id=line.pk, lot_id=10**9, counted=D(1)),
        lambda: actions.cancel_count(10**9, by=stores),
    ):
        with pytest.raises(NotFound):
            work()
    with pytest.raises(Refused, match="not counted in full"):
        close(stores, line)
    finish(stores, line, *lots)
    with pytest.raises(Refused, match="looked at already"):
        finish(stores, line)
    with pytest.raises(BadInput):
        close(stores, line, "")
    actions.cancel_count(line.count_id, by=stores)
    with pytest.raises(Refused, match="ended"):
        actions.cancel_count(line.count_id, by=stores)
    with pytest.raises(Refused, match="ended"):
        close(stores, line)
    assert on_hand(lots[0]) == 10


def test_the_database_keeps_what_was_said(stores, line, lots):
    say(stores, line, lots[0], "9")
    for sql in ("UPDATE inventory_stock_counttally SET counted = 10", "DELETE FROM inventory_stock_counttally"):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)


# --- pages and API ------------------------------------------------------------------------------------


def text_of(answer) -> str:
    """The page without what is random in it: a form's token and id may hold any figures."""
    return re.sub(r'value="[0-9A-Za-z-]{30,}"', "", answer.content.decode())


def post(client, url, **fields):
    return client.post(url, {"once": str(uuid.uuid4()), **fields})


def test_a_bin_is_counted_on_the_phone_and_never_shows_what_is_expected(
    client, stores, gasket, sealant, lots, shelf, site
):
    client.force_login(stores)
    made_ = post(
        client, reverse("stock:count-start"), site=site.pk, what="bins", codes="a3-02", most=20, limit_value="25",
        limit_percent="10",
    )  # fmt: skip
    row = CountList.objects.get()
    assert made_["Location"] == reverse("stock:count-list", args=[row.pk])
    line = row.lines.get()
    here = reverse("stock:count-line", args=[line.pk])
    assert client.get(reverse("stock:count-list", args=[row.pk]), {"code": "QUAY/A3-02"})["Location"] == here
    assert "is not known" in text_of(client.get(reverse("stock:count-list", args=[row.pk]), {"code": "Z9"}))
    assert "is not known" in text_of(client.get(here, {"code": "Z9"}))
    blind = text_of(client.get(here)) + text_of(client.get(here, {"code": "gkt-041"}))
    assert "420" not in blind
    assert ">10<" not in blind
    assert "4.20" not in blind
    scanned = f"{here}?code={lots[0].number}"
    assert post(client, scanned, counted="-1").status_code == 422
    assert post(client, scanned, counted="7")["Location"] == here
    asked = text_of(client.get(reverse("stock:count-finish", args=[line.pk])))
    assert "SEA-070" in asked
    assert "420" not in asked
    done = post(client, reverse("stock:count-finish", args=[line.pk]), gone=lots[1].pk)
    assert done["Location"] == here
    again = text_of(client.get(here))
    assert "Look at these again" in again
    assert "420" not in again
    closing = reverse("stock:count-close", args=[line.pk])
    assert "looked at only once" in text_of(client.get(closing))
    assert post(client, closing, reason="hurry").status_code == 422
    post(client, scanned, counted="9")
    post(client, f"{here}?code={lots[1].number}", counted="420")
    assert "By the ledger" in text_of(client.get(closing))
    assert post(client, closing).status_code == 422
    assert post(client, closing, reason="one torn").status_code == 303
    assert on_hand(lots[0]) == 9
    closed = text_of(client.get(here))
    assert "one torn" in closed
    assert "Tamsin Roe" in closed
    assert client.get(closing).status_code == 302


def test_a_part_with_several_lots_asks_which(client, stores, gasket, lots, line, shelf):
    second = made.lot(stores, gasket.pk, "3")
    client.force_login(stores)
    page = text_of(client.get(reverse("stock:count-line", args=[line.pk]), {"code": "GKT-041"}))
    assert "Which lot?" in page
    assert second.number in page


def test_the_form_of_a_new_list(client, stores, site, shelf, lots):
    client.force_login(stores)
    url = reverse("stock:count-start")
    rest = {"site": site.pk, "most": "20", "limit_value": "25", "limit_percent": "10"}
    assert "There is no bin Z9" in text_of(post(client, url, what="bins", codes="A3-02 Z9", **rest))
    assert "Name at least one bin" in text_of(post(client, url, what="bins", **rest))
    assert "stands in that rack" in text_of(post(client, url, what="bins", rack="Q", **rest))
    assert "Nothing is due" in text_of(post(client, url, what="due", **rest))
    actions.edit_bin(shelf.pk, None, by=stores, rack="A")
    assert post(client, url, what="bins", rack="a", **rest).status_code == 303
    row = CountList.objects.get()
    assert row.number in text_of(client.get(reverse("stock:counts")))
    post(client, reverse("stock:count-cancel", args=[row.pk]))
    assert "Given up" in text_of(client.get(reverse("stock:counts")))


def test_a_mechanic_counts_nothing(client, mechanic, line):
    client.force_login(mechanic)
    for name in ("count-line", "count-finish", "count-close"):
        assert client.get(reverse(f"stock:{name}", args=[line.pk])).status_code == 403


def test_over_the_api_blind_until_it_is_closed(api, stores, site, shelf, lots):
    desk = api(stores)
    row = desk.post("/api/v1/counts/", {"site_id": site.pk, "bin_ids": [shelf.pk]}).json()
    (line,) = desk.get(f"/api/v1/count-lines/?count_id={row['id']}").json()["items"]
    told = desk.post(f"/api/v1/count-lines/{line['id']}/tally/", {"lot_id": lots[0].pk, "counted": "9.0"}).json()
    assert (told["counted"], told["expected"]) == ("9", None)
    early = desk.post(f"/api/v1/count-lines/{line['id']}/finish/", {})
    assert (early.status_code, early.json()["facts"]["lot_ids"]) == (409, [lots[1].pk])
    desk.post(f"/api/v1/count-lines/{line['id']}/tally/", {"lot_id": lots[1].pk, "counted": "420"})
    assert desk.post(f"/api/v1/count-lines/{line['id']}/finish/", {}).json()["closed_at"] is None
    desk.post(f"/api/v1/count-lines/{line['id']}/tally/", {"lot_id": lots[0].pk, "counted": "9"})
    assert desk.post(f"/api/v1/count-lines/{line['id']}/close/", {"reason": "one torn"}).json()["closed_at"]
    shown = desk.get(f"/api/v1/count-tallies/?line_id={line['id']}").json()["items"]
    assert [t["expected"] for t in shown] == ["10", "420", "10"]
    assert desk.get("/api/v1/counts/?open=true").json()["items"] == []
    assert desk.post("/api/v1/counts/due/", {"site_id": site.pk}).status_code == 409
    assert on_hand(lots[0]) == 9


def test_pages_ask_no_more_for_more_rows(client, stores, site, line, lots):
    client.force_login(stores)

    def asked(url) -> int:
        with CaptureQueriesContext(connection) as seen:
            assert client.get(url).status_code == 200
        return len(seen)

    urls = [
        reverse("stock:counts"), reverse("stock:count-list", args=[line.count_id]),
        reverse("stock:count-line", args=[line.pk]), reverse("stock:count-finish", args=[line.pk]),
    ]  # fmt: skip
    say(stores, line, lots[0], "9")
    before = [asked(url) for url in urls]
    for n in range(6):
        lot = made.lot(stores, made_parts.part(stores, f"SCR-{n}").pk)
        say(stores, line, lot, "9")
        made.lot(stores, made_parts.part(stores, f"NUT-{n}").pk)
        bin_ = made.bin_(stores, f"B{n}")
        CountLine.objects.create(count=line.count, bin=bin_)
        actions.start_count(by=stores, site_id=site.pk, bin_ids=[bin_.pk])
    assert [asked(url) for url in urls] == before
