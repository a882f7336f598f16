"""What is told and whom, from plain values."""

from datetime import date, datetime
from decimal import Decimal as D

import pytest

from jobs.alerts import danger, telling
from jobs.alerts.danger import Arriving, Lying, Wanted
from jobs.alerts.telling import Ageing, Awaited, Finding, OnShelf
from shop.kernel.rights import RIGHTS, rights_of

TODAY = date(2026, 11, 25)
day = TODAY.replace


def wanted(need, promised, quantity="1", part=1, mechanic=None) -> Wanted:
    return Wanted(need, part, 1, D(quantity), promised, 9, "26-0009", "GKT-041 Gasket", "C62", mechanic)


def test_each_role_is_told_what_it_can_do_something_about():
    told = {role: telling.kinds_for(rights_of([role])) for role in ("owner", "office", "stores", "mechanic")}
    assert told == {
        "owner": ["expired", "danger", "overdue", "expiring", "low"],
        "office": ["danger", "low"],
        "stores": ["expired", "danger", "overdue", "expiring", "low"],
        "mechanic": [],
    }
    assert all(right in RIGHTS for rights in telling.CONCERNS.values() for right in rights)


@pytest.mark.parametrize(
    ("hour", "minute", "listed"), [(4, 59, day(day=24)), (5, 0, TODAY), (23, 59, TODAY), (0, 0, day(day=24))]
)
def test_the_day_begins_at_five(hour, minute, listed):
    assert telling.day_of(datetime(2026, 11, 25, hour, minute)) == listed  # noqa: DTZ001 - a local moment


def test_low_is_what_nothing_is_on_its_way_for_the_emptiest_first():
    parts = [
        OnShelf(1, "A", "a", "C62", D(4), D(5)), OnShelf(2, "B", "b", "C62", D(0), D(5)),
        OnShelf(3, "C", "c", "C62", D(1), D(5)), OnShelf(4, "D", "d", "C62", D(5), D(5)), OnShelf(5, "E", "e", "C62", D(6), D(5)),
    ]  # fmt: skip
    found = telling.low(parts, {1: D(2), 3: D(4)})
    assert [(f.key, f.state) for f in found] == [("part:2", "none"), ("part:3", "low"), ("part:4", "low")]


def test_a_lot_is_told_three_times_on_its_way_to_the_end():
    def state(left):
        last = date.fromordinal(TODAY.toordinal() + left)
        found = telling.ageing([Ageing(7, "L7", 1, "SEA", "MLT", D(70), ("A1",), last)], TODAY)
        return [(f.kind, f.state.split()[0]) for f in found]

    assert state(31) == []
    assert state(30) == state(8) == [("expiring", "month")]
    assert state(7) == state(0) == [("expiring", "week")]
    assert state(-1) == state(-100) == [("expired", "over")]


def test_an_order_is_told_once_whatever_its_lines_and_again_when_another_is_late():
    lines = [
        Awaited(5, "P26-5", "Gullhaven", day(day=20), None), Awaited(5, "P26-5", "Gullhaven", day(day=23), None),
        Awaited(6, "P26-6", "Tern", TODAY, None),
    ]  # fmt: skip
    (one,) = telling.overdue(lines, TODAY)
    assert (one.key, one.due_on, one.facts["lines"]) == ("order:5", day(day=20), 2)
    (less,) = telling.overdue(lines[:1], TODAY)
    assert less.state != one.state


def test_what_is_kept_goes_bad_before_the_day():
    kept = [wanted(1, day(day=30)), wanted(2, day(day=27))]
    # one good until the 28th, one for ever: need 2 takes the first, need 1 the second
    lying = [Lying(1, 1, D(1), day(day=28)), Lying(1, 1, D(1), None)]
    assert danger.goes_bad(kept, lying, TODAY) == []
    lying[1] = Lying(1, 1, D(1), day(day=29))
    (found,) = danger.goes_bad(kept, lying, TODAY)
    assert (found.key, found.facts["day"], found.facts["quantity"]) == ("bad:1", day(day=29), D(1))
    # at another site it doesn't help
    assert [f.key for f in danger.goes_bad(kept, [Lying(1, 2, D(9), None), Lying(1, 1, D(2), TODAY)], TODAY)] == [
        "bad:2", "bad:1",
    ]  # fmt: skip
    # a promised day that is over is needed today
    assert danger.goes_bad([wanted(3, day(day=1))], [Lying(1, 1, D(1), TODAY)], TODAY) == []
    assert danger.goes_bad([wanted(3, day(day=1))], [Lying(1, 1, D(1), day(day=24))], TODAY)


def test_what_comes_after_the_promised_day_is_told_what_comes_before_is_not():
    def told(promised, by):
        arriving = Arriving(wanted(2, promised, mechanic=4), D(1), by, "P26-5")
        return [(f.key, f.mechanic_id, f.facts["order"], f.facts["day"]) for f in danger.comes_late([arriving], TODAY)]

    assert told(day(day=30), day(day=30)) == []
    assert told(day(day=30), date(2026, 12, 1)) == [("late:2", 4, "P26-5", date(2026, 12, 1))]
    # what should have come already comes today at the earliest
    assert told(day(day=20), day(day=19)) == [("late:2", 4, "P26-5", TODAY)]
    assert told(TODAY, day(day=19)) == []


def test_no_flood():
    many = [Finding(f"part:{n}", "low", "low") for n in range(telling.MOST + 12)]
    told = telling.few([*many, Finding("lot:1", "expired", "over")])
    assert len(told) == telling.MOST + 2
    assert (told[-1].key, told[-1].facts) == ("more:low", {"more": 12})


@pytest.mark.parametrize(
    ("choice", "address", "new", "goes"),
    [("daily", "a@b.example", 1, True), ("daily", "a@b.example", 0, False), ("daily", "", 3, False), ("off", "a@b.example", 3, False)],
)  # fmt: skip
def test_a_mail_is_wanted_has_an_address_and_something_new(choice, address, new, goes):
    assert telling.mail_wanted(choice, address, new) is goes
