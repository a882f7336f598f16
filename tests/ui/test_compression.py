"""Pages travel compressed, all but those that show a secret; the API never does."""

import gzip
import re

import pytest

pytestmark = pytest.mark.django_db
ACCEPTS = {"Accept-Encoding": "gzip"}


@pytest.fixture
def at(client, owner):
    client.force_login(owner)
    return client


def test_a_page_is_compressed_for_who_can_read_it_so(at):
    plain, packed = at.get("/"), at.get("/", headers=ACCEPTS)
    assert "Content-Encoding" not in plain
    assert packed["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in plain["Vary"]
    assert "Accept-Encoding" in packed["Vary"]
    assert len(packed.content) < len(plain.content) / 2
    assert b"<h1" in gzip.decompress(packed.content)


def test_neither_its_length_nor_its_csrf_token_is_the_same_twice(at):
    pages = [at.get("/", headers=ACCEPTS).content for _ in range(12)]
    assert len({len(page) for page in pages}) > 3
    tokens = {re.search(rb'X-CSRFToken": "(\w+)"', gzip.decompress(page))[1] for page in pages}
    assert len(tokens) == 12


def test_a_page_with_a_secret_stays_as_it_is(at):
    shown = at.get("/me/two-step/", headers=ACCEPTS)
    assert b"data:image/svg" in shown.content
    assert "Content-Encoding" not in shown
    assert shown["Cache-Control"] == "private, no-store, no-transform"


def test_the_api_is_left_alone(at):
    answer = at.get("/api/v1/people/", headers=ACCEPTS)
    assert answer.status_code == 200
    assert "Content-Encoding" not in answer
