"""QUALITY: one command makes a backup under load, one restores it into an empty place and runs all invariants, photos
included. On the database that the run is for."""

from __future__ import annotations

import io
import itertools
import json
import tarfile
import tempfile
import threading
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image

from tests.factories.processes import Shop, database_url
from tests.factories.servers import wait_until

from .conftest import POSTINGS


@pytest.fixture
def empty_place(template) -> Iterator[Shop]:
    """A data folder and a database with nothing in them."""
    name = f"tallybench_{uuid.uuid4().hex[:10]}"
    if template.server_url:
        template.execute(f"CREATE DATABASE {name}")
    shop = Shop(Path(tempfile.mkdtemp(prefix="tallybench-empty-")), database_url(template.server_url, name))
    shop.template, shop.tokens, shop.ids = template, template.tokens, template.ids
    with shop:
        yield shop


def photo(shade: int) -> bytes:
    raw = io.BytesIO()
    Image.new("RGB", (320, 240), (shade, 90, 120)).save(raw, "JPEG")
    return raw.getvalue()


def add_photo(shop: Shop, shade: int) -> int:
    client = shop.client("jory")
    answer = client.session.post(
        f"{shop.address}/api/v1/files/",
        data={"subject": "stage", "subject_id": str(shop.ids["stage_id"]), "title": f"Bore {shade}"},
        files={"file": (f"bore-{shade}.jpg", photo(shade), "image/jpeg")},
        headers={"Idempotency-Key": str(uuid.uuid4())},
        timeout=60,
    )
    assert answer.status_code == 201, answer.text
    return answer.json()["id"]


def test_a_backup_under_load_restores_whole_into_an_empty_place(shop, empty_place):
    posting = POSTINGS["draw"]
    over, done = threading.Event(), []

    def work(c: int) -> None:
        client = shop.client(posting.username)
        for n in itertools.count(c, 4):
            if over.is_set():
                return
            assert client.post(posting.path, posting.body(shop, n)).status_code == 201
            done.append(n)
            if n % 10 == c:
                add_photo(shop, n % 250)

    people = [threading.Thread(target=work, args=(c,)) for c in range(1, 5)]
    for each in people:
        each.start()
    wait_until(lambda: len(done) > 25, 60, "there is something to keep")
    before = list(done)
    file = shop.folder / "monday.tar.gz"
    said = shop.manage("backup", str(file)).stdout
    after = len(done)
    wait_until(lambda: len(done) > after + 5, 60, "postings go on after it")
    over.set()
    for each in people:
        each.join()
    assert after > len(before), "postings went on while it was made"
    assert "files" in said
    assert file.stat().st_mode & 0o077 == 0

    told = empty_place.manage("restore", str(file)).stdout
    assert "All of it is right." in told
    kept = posting.numbers(empty_place)
    assert len(kept) == len(set(kept))
    assert set(before) <= set(kept) <= set(posting.numbers(shop)), "everything from before it, nothing invented"
    assert "All 0 files" not in told
    empty_place.serve(workers=2 if empty_place.url else None)
    client = empty_place.client("jory")
    listed = client.get("files/", subject="stage", subject_id=empty_place.ids["stage_id"]).json()["items"]
    assert listed
    seen = client.session.get(f"{empty_place.address}/api/v1/files/{listed[-1]['id']}/content/", timeout=30)
    assert seen.status_code == 200
    assert Image.open(io.BytesIO(seen.content)).size == (320, 240)
    n = max(posting.numbers(shop)) + 1
    assert client.post(posting.path, posting.body(empty_place, n)).status_code == 201, "work goes on"
    again = empty_place.manage("restore", str(file), check=False)
    assert again.returncode == 1
    assert "not empty" in again.stderr


def test_a_photo_that_is_gone_or_changed_is_found_out(shop):
    add_photo(shop, 7)
    add_photo(shop, 8)
    assert "All 2 files are there" in shop.manage("check_files").stdout
    (first,), (second,) = shop.sql("SELECT file FROM shop_documents_attachment ORDER BY id")
    (shop.folder / "files" / first).unlink()
    path = shop.folder / "files" / second
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    told = shop.manage("prove", check=False)
    assert told.returncode == 1
    assert f"{first} is missing" in told.stderr
    assert f"{second} was changed" in told.stderr
    assert "Not right: check_files" in told.stderr


def test_backups_that_can_not_be_used_say_so_and_change_nothing(template, empty_place):
    with Shop.copy_of(template) as shop:
        good = shop.folder / "good.tar.gz"
        shop.manage("backup", str(good))

        def refused(how: str, *, to: Shop = empty_place, path: Path = good) -> None:
            told = to.manage(how, str(path), check=False)
            assert told.returncode == 1
            refusals.append(told.stderr.strip())

        refusals: list[str] = []
        refused("backup", to=shop)
        refused("backup", to=shop, path=shop.folder / "no" / "such.tar.gz")
        refused("restore", path=shop.folder / "nothing.tar.gz")
        short = shop.folder / "short.tar.gz"
        short.write_bytes(good.read_bytes()[:-2000])
        refused("restore", path=short)
        text = shop.folder / "text.tar.gz"
        text.write_text("Monday")
        refused("restore", path=text)
        for change in ({"migrations": ["shop_trail.9999_later"]}, {"database": "elsewhere"}, {"format": 99}):
            refused("restore", path=altered(good, shop.folder / f"{next(iter(change))}.tar.gz", change))
        patterns = [
            "exists already", "does not exist", "There is no file", "damaged", "not a backup", "newer version",
            "is of elsewhere", "another version",
        ]  # fmt: skip
        assert len(refusals) == len(patterns)
        for said, pattern in zip(refusals, patterns, strict=True):
            assert pattern in said
            assert "Traceback" not in said
        assert not list(shop.folder.glob("*.part"))
        assert "Restored" in empty_place.manage("restore", str(good)).stdout, "the place is still empty"


def altered(source: Path, target: Path, change: dict) -> Path:
    with tarfile.open(source, "r:gz") as old, tarfile.open(target, "w:gz") as new:
        for member in old:
            raw = old.extractfile(member).read()
            if member.name == "manifest.json":
                raw = json.dumps(json.loads(raw) | change).encode()
                member.size = len(raw)
            new.addfile(member, io.BytesIO(raw))
    return target
