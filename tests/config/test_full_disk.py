"""QUALITY: a full disk is a 507, nothing half-written, and it recovers without a restart."""

from __future__ import annotations

import errno
import uuid

import pytest
from django.core.files.storage import default_storage
from django.db import connection
from django.urls import reverse

from inventory.buying.models import Supplier
from shop.trail.models import KeptAnswer, TrailRow


@pytest.fixture
def fill(transactional_db):
    """fill(True): no page more may be added to the database; fill(False): there is room again."""
    if connection.vendor != "sqlite":
        pytest.skip("needs SQLite: PostgreSQL is told apart by its code below")
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA max_page_count")
        plenty = cursor.fetchone()[0]

        def full(yes: bool) -> None:
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA page_count")
                now = cursor.fetchone()[0]
                cursor.execute(f"PRAGMA max_page_count = {now if yes else plenty}")

        yield full
        full(False)


def test_a_full_disk_answers_507_keeps_nothing_and_recovers(api, stores, fill):
    client = api(stores)
    note = "long " * 700  # more than the pages that are there can take
    fill(True)
    keys = [str(uuid.uuid4()) for _ in range(40)]
    answers = [client.post("suppliers/", {"name": f"S {n}", "note": note}, key=key) for n, key in enumerate(keys)]
    statuses = {a.status_code for a in answers}
    assert statuses <= {201, 507}
    assert 507 in statuses
    full = next(a for a in answers if a.status_code == 507)
    assert full["Content-Type"] == "application/problem+json"
    assert full.json()["type"] == "/api/problems/storage-full"
    assert "free some space" in full.json()["detail"]
    kept = sum(a.status_code == 201 for a in answers)
    assert Supplier.objects.count() == kept == TrailRow.objects.filter(verb="supplier.added").count()
    assert KeptAnswer.objects.count() == kept
    assert client.get("suppliers/").status_code == 200, "reading goes on"
    fill(False)
    retried = [client.post("suppliers/", {"name": f"S {n}", "note": note}, key=key) for n, key in enumerate(keys)]
    assert {a.status_code for a in retried} == {201}
    assert Supplier.objects.count() == len(keys)


def test_a_staff_page_says_that_the_disk_is_full(client, owner, fill, monkeypatch):
    client.raise_request_exception = False
    client.force_login(owner)
    from shop.trail import queries

    def full(**_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(queries, "outbox_rows", full)
    answer = client.get(reverse("outbox:list"))
    assert answer.status_code == 507
    assert "The disk of the shop system is full" in answer.content.decode()
    assert "Traceback" not in answer.content.decode()


@pytest.mark.django_db
def test_a_photo_that_finds_no_room_is_a_507_and_leaves_no_row(api, mechanic, monkeypatch):
    import io

    from django.core.files.uploadedfile import SimpleUploadedFile
    from PIL import Image

    from shop.documents.models import Attachment
    from tests.factories.cards import a_card, a_stage

    stage = a_stage(a_card())
    raw = io.BytesIO()
    Image.new("RGB", (40, 40)).save(raw, "JPEG")

    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(type(default_storage._wrapped or default_storage), "_save", full)
    client = api(mechanic)
    answer = client.client.post(
        "/api/v1/files/",
        {"subject": "stage", "subject_id": stage.pk, "file": SimpleUploadedFile("bore.jpg", raw.getvalue())},
        headers=client.headers | {"Idempotency-Key": str(uuid.uuid4())},
    )
    assert answer.status_code == 507, answer.content
    assert answer.json()["type"] == "/api/problems/storage-full"
    assert not Attachment.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("state", "status", "code"),
    [("53100", 507, "storage-full"), ("55P03", 409, "in-progress"), ("57P01", 503, "unavailable")],
)
def test_what_postgresql_says_is_told_apart_by_its_code(api, stores, monkeypatch, state, status, code):
    from django.db import OperationalError

    from inventory.buying import queries

    class Cause(Exception):
        sqlstate = state

    def fail(**_):
        raise OperationalError("could not extend file") from Cause()

    monkeypatch.setattr(queries, "suppliers", fail)
    answer = api(stores).get("suppliers/")
    assert answer.status_code == status
    assert answer.json()["type"] == f"/api/problems/{code}"
    assert "could not extend" not in answer.content.decode()


@pytest.mark.django_db
def test_a_staff_page_without_a_database_is_a_503_that_asks_nothing_of_it(client, owner, monkeypatch):
    from django.contrib.sessions.backends.db import SessionStore
    from django.db import OperationalError

    client.raise_request_exception = False
    client.force_login(owner)

    def down(*_, **__):
        raise OperationalError("connection refused by db.internal")

    monkeypatch.setattr(SessionStore, "load", down)
    answer = client.get(reverse("outbox:list"))
    assert answer.status_code == 503
    assert "db.internal" not in answer.content.decode()
    assert "Wait a minute" in answer.content.decode()
