from __future__ import annotations

import pytest

from tests.factories import parts
from tests.factories import stock as made


@pytest.fixture
def gasket(stores):
    return parts.part(stores)


@pytest.fixture
def sealant(stores):
    return parts.sealant(stores)


@pytest.fixture
def site(db):
    return made.site()


@pytest.fixture
def shelf(stores, site):
    return made.bin_(stores)
