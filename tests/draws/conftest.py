import pytest

from inventory.parts.models import Part
from tests.factories import buying as made
from tests.factories.cards import a_card, a_stage
from tests.factories.parts import part, sealant
from tests.factories.stock import bin_, lot


@pytest.fixture
def card(office):
    return a_card(office)


@pytest.fixture
def stage(card):
    return a_stage(card, "Fit head", kind="assemble")


@pytest.fixture
def shelf(card, stores):
    return bin_(stores, "A3-02", at=card.site)


@pytest.fixture
def gasket(stores, shelf) -> Part:
    made = part(stores, single_use=True, sale_price="38.50")
    lot(stores, made.pk, "3", "21.40", at=shelf)
    return made


@pytest.fixture
def tube(stores, shelf) -> Part:
    made = sealant(stores, sale_price="0.24")
    lot(stores, made.pk, "70", "0.115", at=shelf)
    return made


@pytest.fixture
def bare(stores, shelf):
    """A gasket of which none lies here, sold by one supplier."""
    found = part(stores, "GKT-055", "Rocker cover gasket, B2")
    made.offer(stores, found)
    return found
