"""Photos and files through the API and the pages: kept once, seen only by who may, served harmlessly."""

from __future__ import annotations

import uuid
from io import StringIO

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.test import Client

from inventory.buying.models import Supplier
from inventory.parts.models import Part
from shop.documents import actions, subjects, uploads
from shop.documents.models import Attachment
from shop.kernel import clock
from shop.kernel.errors import BadInput, NotAllowed, NotFound, Refused
from shop.trail.models import TrailRow
from tests.documents import hostile
from tests.factories import moments


@pytest.fixture(autouse=True)
def store(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "files"
    return settings.MEDIA_ROOT


@pytest.fixture
def part(db):
    return Part.objects.create(number="GKT-041", name="Cylinder head gasket", unit="H87")


@pytest.fixture
def supplier(db):
    return Supplier.objects.create(name="Tern & Daughter Marine Spares")


def send(api, subject, pk, content=None, name="photo.jpg", key=None, **fields):
    content = hostile.picture() if content is None else content
    return api.client.post(
        "/api/v1/files/",
        {"subject": subject, "subject_id": pk, "file": SimpleUploadedFile(name, content), **fields},
        headers=api.headers | {"Idempotency-Key": key or str(uuid.uuid4())},
    )


def files_on_disk(store):
    return sorted(p for p in store.rglob("*") if p.is_file())


def signed_in(person) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(person)
    return client


# ---- API ----------------------------------------------------------------------------------------------------------


def test_upload_list_download_archive(api, owner, mechanic, part, store):
    answer = send(api(mechanic), "part", part.pk, title="Old against new")
    assert answer.status_code == 201, answer.content
    made = answer.json()
    assert made["media_type"] == "image/jpeg"
    assert (made["width"], made["height"]) == (640, 480)
    assert made["added_by"] == "Jory Vane"
    assert answer["Location"] == f"/api/v1/files/{made['id']}/"

    listed = api(mechanic).get("files/", subject="part", subject_id=part.pk).json()
    assert [f["id"] for f in listed["items"]] == [made["id"]]

    content = api(mechanic).get(f"files/{made['id']}/content/")
    assert content["Content-Type"] == "image/jpeg"
    assert len(b"".join(content.streaming_content)) == made["size"]
    small = api(mechanic).get(f"files/{made['id']}/thumbnail/")
    assert small.status_code == 200

    assert api(mechanic).delete(f"files/{made['id']}/").status_code == 403
    assert api(owner).delete(f"files/{made['id']}/").status_code == 204
    assert api(owner).get(f"files/{made['id']}/").status_code == 404
    assert api(owner).get(f"files/{made['id']}/content/").status_code == 404
    assert len(files_on_disk(store)) == 2  # archived, not deleted
    assert list(TrailRow.objects.filter(root="part").order_by("id").values_list("verb", flat=True)) == [
        "file.added",
        "file.archived",
    ]


def test_a_retry_answers_the_same_and_keeps_one(api, mechanic, part, store):
    client, key = api(mechanic), str(uuid.uuid4())
    first = send(client, "part", part.pk, key=key)
    again = send(client, "part", part.pk, key=key)
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.content == again.content
    assert again["Idempotent-Replay"] == "true"
    assert Attachment.objects.count() == 1
    other = send(client, "part", part.pk, key=key, content=hostile.picture(size=(100, 100)))
    assert other.status_code == 422
    assert Attachment.objects.count() == 1


def test_the_same_file_is_there_once_on_a_subject(api, mechanic, part, store):
    first, second = (send(api(mechanic), "part", part.pk).json() for _ in range(2))
    assert first["id"] == second["id"]
    assert len(files_on_disk(store)) == 2


@pytest.mark.parametrize("case", hostile.REFUSED)
def test_hostile_uploads_are_400_and_leave_nothing(api, mechanic, part, store, case):
    name, content, code = hostile.REFUSED[case]
    answer = send(api(mechanic), "part", part.pk, content=content, name=name)
    assert answer.status_code == 400, answer.content
    problem = answer.json()
    assert problem["type"] in (f"/api/problems/{code}", "/api/problems/bad-input")
    assert problem["errors"][0]["pointer"] == "/file"
    assert not Attachment.objects.exists()
    assert not files_on_disk(store)


def test_a_request_past_the_quota_is_413_and_leaves_nothing(api, mechanic, part, store, monkeypatch):
    monkeypatch.setattr("shop.documents.quota.MAX_REQUEST", 100_000)
    answer = send(api(mechanic), "part", part.pk, content=b"a" * 300_000, name="note.txt")
    assert answer.status_code == 413
    assert answer["Content-Type"] == "application/problem+json"
    assert not Attachment.objects.exists()
    assert not files_on_disk(store)


def test_what_a_request_must_hold(api, mechanic, part):
    client = api(mechanic)
    good = {"subject": "part", "subject_id": part.pk}
    file = SimpleUploadedFile("a.txt", b"hello")

    def post(data, **headers):
        return client.client.post("/api/v1/files/", data, headers=client.headers | headers)

    assert post({**good, "file": file}).json()["type"] == "/api/problems/idempotency-key-missing"
    key = {"Idempotency-Key": str(uuid.uuid4())}
    for data, pointer in (
        (good, "/file"),
        ({"subject_id": part.pk, "file": file}, "/subject"),
        ({"subject": "part", "subject_id": "x", "file": file}, "/subject_id"),
        ({"subject": "session", "subject_id": 1, "file": file}, "/subject"),
        ({**good, "file": file, "sha256": "1"}, "/sha256"),
        ({**good, "file": file, "title": "t" * 161}, "/title"),
        ({**good, "file": "not a file"}, "/file"),
    ):
        file.seek(0)
        answer = post(data, **key)
        assert answer.status_code == 400, answer.content
        assert pointer in [e["pointer"] for e in answer.json()["errors"]], answer.content
    assert client.post("files/", {"subject": "part"}).status_code == 415
    file.seek(0)
    assert post({"subject": "part", "subject_id": 999_999, "file": file}, **key).status_code == 404
    assert not Attachment.objects.exists()


def test_only_the_documented_fields_can_be_set(api, mechanic, owner, part):
    for name in ("root", "root_id", "added_by", "archived_at", "media_type", "original_name", "size", "thumbnail"):
        answer = send(api(mechanic), "part", part.pk, **{name: "1"})
        assert answer.status_code == 400, name
        assert answer.json()["errors"][0]["pointer"] == f"/{name}"


# ---- who may see it -----------------------------------------------------------------------------------------------


def test_a_file_is_seen_by_who_may_read_what_it_belongs_to(api, office, mechanic, supplier, part):
    paper = send(api(office), "supplier", supplier.pk, content=hostile.PDF, name="prices.pdf").json()
    photo = send(api(office), "part", part.pk).json()
    listed = api(mechanic).get("files/").json()["items"]
    assert [f["id"] for f in listed] == [photo["id"]]
    for path in ("", "content/", "thumbnail/"):
        assert api(mechanic).get(f"files/{paper['id']}/{path}").status_code == 404
        assert signed_in(mechanic).get(f"/files/{paper['id']}/").status_code == 404
    assert api(mechanic).get("files/", subject="supplier", subject_id=supplier.pk).json()["items"] == []
    assert send(api(mechanic), "supplier", supplier.pk).status_code == 403
    assert signed_in(mechanic).get(f"/files/supplier/{supplier.pk}/").status_code == 403
    assert api(office).get(f"files/{paper['id']}/content/").status_code == 200


def test_nobody_signed_in_sees_nothing(api, office, part):
    made = send(api(office), "part", part.pk).json()
    assert Client().get(f"/files/{made['id']}/").status_code == 302
    assert api(None).get(f"files/{made['id']}/content/").status_code == 401
    assert Client().get(f"/media/{Attachment.objects.get().file.name}").status_code == 404


def test_every_kind_of_subject_is_one_table_and_a_known_right():
    from shop.kernel.rights import RIGHTS

    for kind, subject in subjects.SUBJECTS.items():
        model = subjects.model_of(kind)
        assert subject.right in RIGHTS
        for field in filter(None, (subject.root, subject.alive)):
            model._meta.get_field(field)


# ---- served harmlessly --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "content", "media_type", "disposition"),
    [
        ("bore.jpg", hostile.picture(), "image/jpeg", "inline"),
        ("paper.pdf", hostile.PDF, "application/pdf", "attachment"),
        ("note.txt", b"hello", "text/plain; charset=utf-8", "attachment"),
        ("list.csv", b"a;b", "text/csv; charset=utf-8", "attachment"),
    ],
)
def test_headers_of_what_is_served(api, office, part, name, content, media_type, disposition):
    made = send(api(office), "part", part.pk, content=content, name=name).json()
    for answer in (api(office).get(f"files/{made['id']}/content/"), signed_in(office).get(f"/files/{made['id']}/")):
        assert answer["Content-Type"] == media_type
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
        assert answer["Content-Disposition"].startswith(disposition)
        assert name in answer["Content-Disposition"]
        assert answer["Cross-Origin-Resource-Policy"] == "same-origin"
        assert "no-cache" in answer["Cache-Control"]
        etag = answer["ETag"]
    again = signed_in(office).get(f"/files/{made['id']}/", headers={"If-None-Match": etag})
    assert again.status_code == 304
    assert again.content == b""


def test_a_name_cannot_break_out_of_its_header(api, office, part):
    made = send(api(office), "part", part.pk, name='a"; filename=evil.html\r\nX-Evil: 1\n.jpg').json()
    answer = signed_in(office).get(f"/files/{made['id']}/")
    assert "X-Evil" not in answer.headers
    assert answer["Content-Disposition"].count("\n") == 0


def test_a_file_missing_in_the_store_says_so(api, office, part, store):
    made = send(api(office), "part", part.pk).json()
    default_storage.delete(Attachment.objects.get().file.name)
    answer = api(office).get(f"files/{made['id']}/content/")
    assert answer.status_code == 404
    assert "backup" in answer.json()["detail"]


# ---- pages --------------------------------------------------------------------------------------------------------


def post(client, part, *files, once=None, **fields):
    data = {"once": once or str(uuid.uuid4()), "file": [SimpleUploadedFile(n, c) for n, c in files], **fields}
    return client.post(f"/files/part/{part.pk}/add/", data)


def test_the_page_lists_adds_and_puts_away(office, part):
    client = signed_in(office)
    answer = post(client, part, ("a.jpg", hostile.picture()), ("b.png", hostile.picture("PNG")), title="Bores")
    assert answer.status_code == 303
    assert answer["Location"] == f"/files/part/{part.pk}/"
    page = client.get(answer["Location"]).content.decode()
    first, second = Attachment.objects.order_by("id")
    assert f"/files/{first.pk}/small/" in page
    assert 'enctype="multipart/form-data"' in page
    assert "2 files added." in page
    gone = client.post(f"/files/{second.pk}/archive/", {"once": str(uuid.uuid4())})
    assert gone.status_code == 303
    assert f"/files/{second.pk}/small/" not in client.get(f"/files/part/{part.pk}/").content.decode()


def test_double_click_keeps_one_and_the_next_photo_from_the_same_form_is_kept_too(office, part):
    client, once = signed_in(office), str(uuid.uuid4())
    for content in (hostile.picture(), hostile.picture(), hostile.picture(size=(300, 200))):
        assert post(client, part, ("a.jpg", content), once=once).status_code == 303
    assert Attachment.objects.count() == 2


def test_one_bad_file_of_a_batch_keeps_none_and_is_named(office, part, store):
    client = signed_in(office)
    answer = post(client, part, ("good.jpg", hostile.picture()), ("bad.svg", hostile.SVG))
    assert answer.status_code == 302
    page = client.get(answer["Location"]).content.decode()
    assert "bad.svg" in page
    assert "None of the files was kept." in page
    assert not Attachment.objects.exists()
    assert not files_on_disk(store)


def test_nothing_chosen_too_many_and_no_form_id(office, part):
    client = signed_in(office)
    for files, once, words in (
        ((), None, "Choose a file"),
        ([(f"{i}.txt", b"x%d" % i) for i in range(21)], None, "At most 20 files"),
        ([("a.txt", b"x")], "not-a-uuid", "Load the page again"),
    ):
        answer = post(client, part, *files, once=once)
        assert words in client.get(answer["Location"]).content.decode()
    assert not Attachment.objects.exists()


@pytest.mark.parametrize("target", ["https://evil.example/", "//evil.example/", "javascript:alert(1)", "\\\\evil"])
def test_adding_comes_back_only_to_a_page_of_ours(office, part, target):
    answer = post(signed_in(office), part, ("a.txt", b"x"), next=target)
    assert answer["Location"] == f"/files/part/{part.pk}/"
    answer = post(signed_in(office), part, ("b.txt", b"y"), next="/parts/7/?tab=2")
    assert answer["Location"] == "/parts/7/?tab=2"


def test_the_list_costs_the_same_however_many_there_are(office, part, django_assert_num_queries):
    client = signed_in(office)

    def add(start, count):
        checked = [uploads.inspect(f"{i}.txt", b"note %d" % i) for i in range(start, start + count)]
        actions.add_files("part", part.pk, checked, by=office)

    add(0, 4)
    client.get(f"/files/part/{part.pk}/")
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(
        connection,
    ) as few:
        client.get(f"/files/part/{part.pk}/")
    add(4, 8)
    with django_assert_num_queries(len(few)):
        client.get(f"/files/part/{part.pk}/")


# ---- actions ------------------------------------------------------------------------------------------------------


def test_actions_refuse_what_no_door_should_let_through(office, mechanic, part, supplier, monkeypatch):
    checked = [uploads.inspect("a.txt", b"x")]
    with pytest.raises(NotFound):
        actions.add_files("session", 1, checked, by=office)
    with pytest.raises(NotFound):
        actions.add_files("part", part.pk + 99, checked, by=office)
    with pytest.raises(NotAllowed):
        actions.add_files("supplier", supplier.pk, checked, by=mechanic)
    with pytest.raises(BadInput):
        actions.add_files("part", part.pk, [], by=office)
    monkeypatch.setattr(actions, "MOST", 1)
    actions.add_files("part", part.pk, checked, by=office)
    with pytest.raises(Refused, match="already 1 files"):
        actions.add_files("part", part.pk, [uploads.inspect("b.txt", b"y")], by=office)
    assert Attachment.objects.count() == 1
    with pytest.raises(NotFound):
        actions.archive_file(Attachment.objects.get().pk + 1, by=office)


def test_a_file_cut_off_by_a_crash_is_written_anew(office, part, store):
    checked = uploads.inspect("a.txt", b"hello world")
    name = f"attachments/{checked.sha256[:2]}/{checked.sha256}.txt"
    (store / name).parent.mkdir(parents=True)
    (store / name).write_bytes(b"hel")
    (kept,) = actions.add_files("part", part.pk, [checked], by=office)
    assert kept.file.name == name
    assert (store / name).read_bytes() == b"hello world"


def test_sweep_names_spare_and_missing_files_and_removes_only_old_spare_ones(office, part, store, monkeypatch):
    actions.add_files("part", part.pk, [uploads.inspect("a.jpg", hostile.picture())], by=office)
    spare = store / "attachments" / "zz" / "spare.txt"
    spare.parent.mkdir(parents=True)
    spare.write_text("left over")

    def swept(*args):
        out = StringIO()
        call_command("sweep_files", *args, stdout=out)
        return out.getvalue()

    assert swept() == "spare: attachments/zz/spare.txt\n"
    assert swept("--delete") == "spare: attachments/zz/spare.txt\n"
    later = moments.away(2)
    monkeypatch.setattr(clock, "now", lambda: later)
    assert swept("--delete") == "removed: attachments/zz/spare.txt\n"
    assert not spare.exists()
    kept = Attachment.objects.get()
    default_storage.delete(kept.file.name)
    assert swept() == f"missing: {kept.file.name}\n"
