import html
import re
import uuid

import pytest

from tests.factories.desk import Scene, scene
from tests.factories.timebook import working_hours


@pytest.fixture
def shop(db) -> Scene:
    working_hours()
    return scene()


@pytest.fixture
def at(client):
    """at(person) -> their browser."""

    def sign_in(who):
        client.force_login(who)
        return client

    return sign_in


@pytest.fixture
def press():
    """press(client, url, **fields) posts a form with a fresh posting id."""

    def go(client, url, **fields):
        return client.post(url, {"once": str(uuid.uuid4()), **fields})

    return go


@pytest.fixture
def text():
    """text(answer) -> what a person reads: tags out, spaces single."""

    def read(answer):
        page = re.sub(r"<(script|style)\b.*?</\1>", " ", answer.content.decode(), flags=re.S)
        return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())

    return read
