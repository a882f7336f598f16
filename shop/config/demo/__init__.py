"""The invented shop: Saltmarsh Engine Works, a harbour-side rebuilder of small marine diesels and pump engines.

Makers, people, numbers and limits are invented; tax rates are illustrative. `load` can be repeated: it adds only what
is missing.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import date, time
from decimal import Decimal
from typing import NamedTuple

from django.contrib.auth.hashers import make_password

from shop.business.models import Business, LabourRate, Site, TaxRate, WorkingHours
from shop.kernel.writing import writes
from shop.people.models import Person

from . import story


class RealShop(Exception):
    """The data folder holds a shop that isn't the invented one."""


class Member(NamedTuple):
    username: str
    name: str
    roles: tuple[str, ...]


CAST = (
    Member("maren", "Maren Holt", ("owner",)),
    Member("pim", "Pim Castell", ("office",)),
    Member("jory", "Jory Vane", ("mechanic",)),
    Member("brann", "Brann Oakes", ("mechanic",)),
    Member("tamsin", "Tamsin Roe", ("stores",)),
)
COSTS = {"owner": Decimal("38.00"), "mechanic": Decimal("27.50")}  # an hour
NAME = "Saltmarsh Engine Works"
FROM = date(2023, 1, 1)


@writes
def load(*, password: str, pins: dict[str, str]) -> None:
    """Make the shop where it is missing. Raises RealShop when another shop is in the database."""
    other = Business.objects.exclude(name=NAME, is_sample=True).first()
    if other or (Person.objects.exists() and not Business.objects.exists()):
        raise RealShop(
            "The data folder holds a shop of your own; the demo doesn't touch it. Choose another folder: "
            "TALLYBENCH_DATA=/some/empty/folder"
        )
    if Business.objects.exists():
        return
    Business.objects.create(
        pk=1, name=NAME, legal_name=NAME, street="4 Slip Road", postcode="Q12 SW45", city="Saltmarsh Quay", country="IE",
        phone="+353 00 000 0000", email="office@saltmarsh.example", is_sample=True,
        sundries_percent=Decimal("2.000"), vat_no="IE0000000W", iban="IE61ZZZZ99000012345678",
        website="saltmarsh.example",
    )  # fmt: skip
    site = Site.objects.create(name="Slip Road shed", code="SR")
    WorkingHours.objects.bulk_create(
        WorkingHours(weekday=day, starts=time(8), ends=time(17), break_starts=time(12, 30), break_ends=time(13, 15))
        for day in range(1, 6)
    )
    TaxRate.objects.bulk_create(
        [
            TaxRate(
                code="standard",
                name="Standard rate (illustrative)",
                percent=Decimal(23),
                valid_from=FROM,
                is_default=True,
            ),
            TaxRate(code="reduced", name="Reduced rate (illustrative)", percent=Decimal("13.5"), valid_from=FROM),
        ]
    )
    LabourRate.objects.create(per_hour=Decimal("68.00"), valid_from=FROM)
    LabourRate.objects.create(stage_kind="measure", per_hour=Decimal("74.00"), valid_from=FROM)
    Person.objects.bulk_create(
        Person(
            username=member.username, name=member.name, roles=list(member.roles),
            email=f"{member.username}@saltmarsh.example", cost_per_hour=COSTS.get(member.roles[0]),
        )
        for member in CAST
    )  # fmt: skip
    with ThreadPoolExecutor(
        1
    ) as aside:  # hashing takes long on purpose, and leaves the interpreter to others meanwhile
        hashes = {secret: aside.submit(make_password, secret) for secret in (password, *pins.values())}
        story.tell(site_id=site.pk)
        for member in CAST:
            Person.objects.filter(username=member.username).update(
                password=hashes[password].result(), pin_hash=hashes[pins[member.username]].result()
            )


@contextmanager
def unhurried_collector() -> Iterator[None]:
    """Python looks for garbage seldom: making a shop leaves many objects behind and hardly a cycle among them."""
    before = gc.get_threshold()
    gc.freeze()
    gc.set_threshold(100_000, 50, 1_000)
    try:
        yield
    finally:
        gc.set_threshold(*before)
        gc.unfreeze()
