import pytest

from shop.kernel import writing
from shop.numbering.actions import number, take

pytestmark = pytest.mark.django_db


def test_numbers_run_from_one_by_series_and_year():
    assert [writing.run(lambda: take("card", 2026)) for _ in range(3)] == [1, 2, 3]
    assert writing.run(lambda: take("card", 2027)) == 1
    assert writing.run(lambda: number("INV", "invoice", 2026)) == "INV-26-0001"


def test_a_rolled_back_document_gives_its_number_back():
    def fails():
        take("invoice", 2026)
        raise ValueError("crash")

    with pytest.raises(ValueError, match="crash"):
        writing.run(fails)
    assert writing.run(lambda: take("invoice", 2026)) == 1


def test_outside_an_action_it_refuses():
    with pytest.raises(RuntimeError):
        take("card", 2026)
