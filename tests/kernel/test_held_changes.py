"""What a write changes without reading it back goes together, and is there for whoever looks."""

import pytest
from django.db import IntegrityError, connection
from django.test.utils import CaptureQueriesContext

from shop.business.models import Site
from shop.kernel import statements, writing
from shop.kernel.errors import Refused
from shop.kernel.writing import writes

pytestmark = pytest.mark.django_db


def made(**values):
    return Site(**({"name": "Quay shed", "code": "QS"} | values))


def test_a_read_sees_what_was_changed_before_it():
    @writes
    def work():
        writing.insert([made()])
        writing.insert([made(code="FARM")])
        writing.change(Site, {"code": "QS"}, name="Slip shed")
        return list(Site.objects.order_by("pk").values_list("code", "name"))

    assert work() == [("QS", "Slip shed"), ("FARM", "Quay shed")]


def test_what_is_still_held_is_there_after_the_commit():
    @writes
    def work():
        site = Site.objects.create(name="Quay shed", code="QS")
        writing.change(Site, {"pk": site.pk}, name="Slip shed", code="SS")
        writing.insert([made(code="FARM")])

    work()
    assert sorted(Site.objects.values_list("code", flat=True)) == ["FARM", "SS"]


def test_changes_of_one_row_happen_one_after_the_other():
    @writes
    def work():
        site = Site.objects.create(name="Quay shed", code="QS")
        for _ in range(3):
            writing.change(Site, {"pk": site.pk}, add={"version": 2})
        writing.change(Site, {"code": "QS"}, add={"version": 10})  # the same row under another name
        return site

    before = Site._meta.get_field("version").default
    site = work()
    site.refresh_from_db()
    assert site.version == before + 16


def test_a_refusal_undoes_what_is_held():
    @writes
    def work():
        writing.insert([made()])
        raise Refused("no")

    with pytest.raises(Refused):
        work()
    assert not Site.objects.exists()


def test_a_part_that_is_refused_takes_what_it_held_with_it():
    def refused():
        writing.insert([made(code="NO")])
        raise Refused("no")

    @writes
    def work():
        writing.insert([made()])
        with pytest.raises(Refused):
            writing.attempt(refused)
        writing.attempt(lambda: writing.insert([made(code="YES")]))

    work()
    assert sorted(Site.objects.values_list("code", flat=True)) == ["QS", "YES"]


def test_what_the_database_refuses_is_raised_and_nothing_stays():
    @writes
    def work():
        writing.insert([made()])
        writing.insert([made()])

    with pytest.raises((IntegrityError, Refused)):
        work()
    assert not Site.objects.exists()


def test_nothing_is_held_outside_a_write():
    with pytest.raises(RuntimeError, match="outside a write"):
        writing.insert([made()])
    with pytest.raises(RuntimeError, match="outside a write"):
        writing.change(Site, {"pk": 1}, name="x")


def test_keys_known_beforehand_are_those_of_the_rows():
    @writes
    def work():
        ((first,),) = statements.fetch(f"SELECT {statements.next_key(Site)}")
        keys = [first, *statements.next_keys(Site, 2, after=first)]
        writing.insert([made(pk=pk, code=f"S{n}") for n, pk in enumerate(keys)])
        return keys + statements.next_keys(Site, 0)

    keys = work()
    assert keys == sorted(set(keys))
    assert sorted(Site.objects.values_list("pk", flat=True)) == keys
    assert Site.objects.create(name="Next", code="NEXT").pk > keys[-1]


def test_more_than_one_statement_should_carry():
    writing.run(lambda: writing.insert([made(code=f"S{n}") for n in range(150)]))
    assert Site.objects.count() == 150


@pytest.mark.postgres
def test_changes_of_different_rows_go_in_one_statement():
    site = Site.objects.create(name="Quay shed", code="QS")

    @writes
    def work():
        writing.change(Site, {"pk": site.pk}, name="Slip shed")
        writing.change(Site, {"pk": site.pk + 1000}, name="nobody")
        writing.insert([made(code="A"), made(code="B")])

    with CaptureQueriesContext(
        connection,
    ) as seen:
        work()
    changing = [q["sql"] for q in seen if "SAVEPOINT" not in q["sql"]]
    # an insert may not meet the updates of its own table
    assert len(changing) == 2, changing
