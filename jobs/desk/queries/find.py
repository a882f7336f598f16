"""One box for everything. Each kind is asked for a few rows only; what a person may not read isn't asked for."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.db.models import Q

from inventory.parts import queries as parts
from inventory.stock.models import Bin, Lot
from jobs.cards.models import JobCard
from jobs.cards.queries import OPEN
from jobs.machines import queries as machines
from jobs.machines.models import Machine
from shop.kernel import clock
from shop.kernel.folding import fold

from .. import codes
from ..links import to

MOST = 8


@dataclass(frozen=True)
class Hit:
    """`name` leads to `url`; `about` says which one it is; `cards` are open cards of it."""

    name: str
    url: str
    about: str = ""
    note: str = ""
    cards: list[JobCard] = field(default_factory=list)


@dataclass(frozen=True)
class Group:
    """`more`: there are more of this kind; `all_url` lists them."""

    title: str
    hits: list[Hit]
    more: bool = False
    all_url: str = ""


def find(text: str, rights: frozenset[str]) -> list[Group]:
    """What fits `text`, by kind; empty kinds are left out."""
    text = text.strip()[: codes.LONGEST]
    if not text:
        return []
    asked = (
        ("cards.read", _cards),
        ("machines.read", _machines),
        ("customers.read", _customers),
        ("parts.read", _parts),
        ("stock.read", _shelf),
    )
    groups = [ask(text) for right, ask in asked if right in rights]
    return [group for group in groups if group.hits]


def _cards(text: str) -> Group:
    rows = JobCard.objects.select_related("machine", "customer")
    start, short = codes.card_number_start(text), codes.short_numbers(text, clock.today())
    if start:
        # a range instead of LIKE: SQLite uses the index for it
        found = list(rows.filter(number__gte=start, number__lt=f"{start}:").order_by("-id")[: MOST + 1])
    elif short:
        found = list(rows.filter(number__in=short).order_by("-id"))
    else:
        named = Q()
        for word in fold(text).split()[:8]:
            named &= Q(customer__find_text__contains=word) | Q(machine__find_text__contains=word)
        found = list(rows.filter(OPEN, named).order_by("-id")[: MOST + 1]) if named else []
    hits = [Hit(c.number, to("cards:card", c.pk), f"{c.machine}, {c.customer}", ending(c)) for c in found[:MOST]]
    return Group("Job cards", hits, len(found) > MOST)


def ending(card: JobCard) -> str:
    """How a card that is closed ended."""
    if card.cancelled_at:
        return "cancelled"
    return "handed over" if card.handed_over_at else ""


def _machines(text: str) -> Group:
    found = machines.find_machines(text, MOST + 1)
    open_cards = _open_cards(Q(machine__in=[m.pk for m in found])) if found else []
    hits = [
        Hit(
            m.title, to("machines:machine", m.pk), m.serial_no, m.customer.name,
            [c for c in open_cards if c.machine_id == m.pk],
        )
        for m in found[:MOST]
    ]  # fmt: skip
    return Group("Machines", hits, len(found) > MOST, to("machines:list", text=text))


def _customers(text: str) -> Group:
    found = machines.find_customers(text, MOST + 1)
    open_cards = _open_cards(Q(customer__in=[c.pk for c in found])) if found else []
    hits = [
        Hit(
            c.name, to("machines:customer", c.pk), c.city, c.phone or c.email,
            [card for card in open_cards if card.customer_id == c.pk],
        )
        for c in found[:MOST]
    ]  # fmt: skip
    return Group("Customers", hits, len(found) > MOST, to("machines:customers", text=text))


def _open_cards(of: Q) -> list[JobCard]:
    return list(JobCard.objects.filter(OPEN, of).only("number", "machine_id", "customer_id").order_by("-id")[:50])


def _parts(text: str) -> Group:
    found = list(parts.find(text)[: MOST + 1])
    hits = [Hit(p.number, to("parts:part", p.pk), p.name) for p in found[:MOST]]
    return Group("Parts", hits, len(found) > MOST, to("parts:list", text=text))


def _shelf(text: str) -> Group:
    """Lots by their number or the supplier's batch, bins by their code: whole ones only."""
    code = text.strip()
    lots = Lot.objects.filter(Q(number=code.upper()) | Q(number=code) | Q(batch=code)).select_related("part")
    hits = [
        Hit(f"Lot {x.number}", to("stock:lot", x.pk), f"{x.part}", f"batch {x.batch}" if x.batch else "")
        for x in lots[:MOST]
    ]
    hits += [Hit(f"Bin {b.code}", to("stock:bin", b.pk), b.name, b.site.name) for b in _bins(code)]
    return Group("Lots and bins", hits)


def _bins(code: str) -> list[Bin]:
    rows = Bin.objects.filter(Q(code=code) | Q(code=code.upper()), archived_at__isnull=True)
    return list(rows.select_related("site").order_by("site_id")[:MOST])


def card_of(code: str) -> JobCard | None:
    """The card that a code or number names."""
    number = codes.card_number(code)
    return JobCard.objects.filter(number=number).first() if number else None


def place_of(code: str) -> Bin | None:
    """The bin that a code names, at the oldest site that has it."""
    return next(iter(_bins(code.strip())), None)


def machine_of(code: str) -> Machine | None:
    """The only machine with this serial number."""
    found = machines.machines(serial=code)[:2]
    same = [m for m in found if m.serial_no.casefold() == code.strip().casefold()]
    return same[0] if len(same) == 1 else None
