import re
from html import unescape

import pytest

from tests.desk.conftest import at, press, shop  # noqa: F401


@pytest.fixture
def text():
    """text(answer) -> what a person reads of the page itself."""

    def read(answer):
        page = answer.content.decode()
        main = page[page.index("<main") : page.index("</main>")]
        return " ".join(unescape(re.sub(r"<[^>]+>", " ", main)).split())

    return read
