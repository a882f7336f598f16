"""Finding by a text index gives what reading every row would give, also after changes."""

import random

import pytest

from jobs.machines import actions, queries
from jobs.machines.models import Customer
from shop.kernel.finding import containing, starting
from shop.kernel.folding import fold
from tests.factories.machines import customer, machine

pytestmark = pytest.mark.django_db

NAMES = [
    "Cockle Row Ferries", "Ødegård & Søn", "Jürgen Müller", "100% Marine", "A_B Boats", 'The "Tern"', "O'Hara", "ورشة الميناء",
    "Lo", "鋼船所 Kōbe", "Tern-Hill; DROP TABLE", "* OR NEAR(", "Zé 🛥️ Zé",
]  # fmt: skip


@pytest.fixture
def many(db):
    return [customer(name) for name in NAMES]


@pytest.mark.parametrize(
    "text",
    ["row", "cockle ferr", "søn", "MÜLLER", "muller jur", "100%", "%", "_", "a_b", '"tern"', '"', "o'h", "ميناء", "lo", "l",
     "鋼船所", "kobe", "drop table", "* or", "near(", "🛥️", "zzz", "", "  ", "\x00", "ro co", "tern tern tern"],
)  # fmt: skip
def test_every_word_is_found_anywhere(many, text):
    found = {c.name for c in containing(Customer.objects.all(), "find_text", text)}
    assert found == {c.name for c in many if all(w in c.find_text for w in fold(text.replace("\x00", " ")).split())}


@pytest.mark.parametrize("text", ["cockle", "lo", "t", "鋼", "zz", "100%", "a_", "ø"])
def test_beginnings(many, text):
    found = {c.name for c in starting(Customer.objects.all(), "sort_name", text)}
    assert found == {c.name for c in many if c.sort_name.startswith(text)}


def test_changes_are_followed(many, office):
    row = many[0]
    actions.edit_customer(row.pk, None, by=office, name="Mussel Point Charter")
    assert queries.find_customers("cockle") == []
    assert queries.find_customers("point charter") == [row]
    actions.edit_customer(row.pk, None, by=office, note="not in the index", city="Brackwater")
    assert queries.find_customers("brackwater") == [row]
    actions.archive_customer(row.pk, None, by=office)
    assert queries.find_customers("brackwater") == []
    assert [c.pk for c in queries.customers(text="brackwater", archived=True)] == [row.pk]


def test_a_machine_is_found_by_its_serial_number_however_it_is_typed():
    random.seed(4)
    row = machine(serial_no="RW-1182/b")
    for _ in range(20):
        machine(serial_no=f"RW-{random.randrange(2000, 9999)}")
    for typed in ("RW-1182/b", "rw1182B", "rw 1182 b", "1182"):
        assert queries.find_machines(typed)[0] == row, typed
    assert [m.pk for m in queries.machines(serial="82/b")] == [row.pk]
    assert [m.pk for m in queries.machines(serial="2b")] == [row.pk]
