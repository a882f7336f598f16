import pytest
from django.db import DatabaseError, connection, transaction

from shop.business.models import Site
from shop.kernel import writing
from shop.kernel.errors import Refused
from shop.trail.models import OutboxRow, TrailRow
from shop.trail.record import announce, record

pytestmark = pytest.mark.django_db


def test_trail_and_outbox_are_written_with_the_change(owner):
    @writes
    def open_site():
        site = Site.objects.create(name="Quay shed", code="QS")
        record(owner, "site.opened", site, code=["", "QS"])
        announce("mail.send", to="harbour@example.org")
        return site

    site = open_site()
    row = TrailRow.objects.get()
    assert (row.by, row.verb, row.subject, row.subject_id, row.root_id) == (
        owner,
        "site.opened",
        "site",
        site.pk,
        site.pk,
    )
    assert row.detail == {"code": ["", "QS"]}
    assert OutboxRow.objects.get().topic == "mail.send"


def test_a_refusal_anywhere_undoes_everything(owner):
    @writes
    def inner():
        raise Refused("no")

    @writes
    def outer():
        site = Site.objects.create(name="Quay shed", code="QS")
        record(owner, "site.opened", site)
        inner()

    with pytest.raises(Refused):
        outer()
    assert not Site.objects.exists()
    assert not TrailRow.objects.exists()
    assert not writing.in_write()


def test_record_outside_an_action_is_a_programming_error(owner):
    with pytest.raises(RuntimeError, match="outside a write"):
        record(owner, "site.opened", owner)


@pytest.mark.parametrize("change", ["UPDATE shop_trail_trailrow SET verb = 'x'", "DELETE FROM shop_trail_trailrow"])
def test_the_database_refuses_to_change_the_trail(owner, change):
    writing.run(lambda: record(owner, "site.opened", owner))
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(change)
    assert TrailRow.objects.get().verb == "site.opened"


writes = writing.writes
