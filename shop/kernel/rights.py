"""The one table of rights. Pages and API both ask it; nothing else decides who may do what.

A right is `subject.verb`. Every route names exactly one; a test walks all routes and all roles against this table.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

from shop.kernel.errors import NotAllowed


class Role(StrEnum):
    OWNER = "owner"
    OFFICE = "office"
    MECHANIC = "mechanic"
    STORES = "stores"


OWNER, OFFICE, MECHANIC, STORES = Role.OWNER, Role.OFFICE, Role.MECHANIC, Role.STORES
EVERYONE = frozenset(Role)

RIGHTS: dict[str, frozenset[Role]] = {
    # the shop
    "home.read": EVERYONE,
    "find.read": EVERYONE,
    "alerts.own": EVERYONE,  # one's own list of the day
    "people.read": frozenset({OWNER, OFFICE}),
    "people.edit": frozenset({OWNER}),
    "own.edit": EVERYONE,  # one's own password, PIN, tokens
    "tablet.enrol": frozenset({OWNER, OFFICE}),
    "trail.read": frozenset({OWNER}),
    "outbox.read": frozenset({OWNER, OFFICE}),
    "outbox.edit": frozenset({OWNER}),
    "business.read": EVERYONE,
    "business.edit": frozenset({OWNER}),
    "files.read": EVERYONE,
    "files.add": EVERYONE,
    "files.archive": frozenset({OWNER, OFFICE}),
    "files.show": frozenset({OWNER, OFFICE}),  # which photos the customer sees
    "import.run": frozenset({OWNER, OFFICE, STORES}),
    "export.run": frozenset({OWNER, OFFICE, STORES}),
    # the counter
    "customers.read": frozenset({OWNER, OFFICE}),
    "customers.edit": frozenset({OWNER, OFFICE}),
    "machines.read": EVERYONE,
    "machines.edit": frozenset({OWNER, OFFICE}),
    "machines.usage": frozenset({OWNER, OFFICE, MECHANIC}),
    # plans and cards
    "plans.read": EVERYONE,
    "plans.edit": frozenset({OWNER, OFFICE}),
    "cards.read": EVERYONE,
    "cards.edit": frozenset({OWNER, OFFICE}),
    "cards.finish": frozenset({OWNER, OFFICE}),
    "cards.hold": frozenset({OWNER, OFFICE, MECHANIC}),  # a card or stage stands still, or goes on
    "stages.work": frozenset({OWNER, MECHANIC}),  # start, finish, sign a gate
    "stages.override": frozenset({OWNER}),
    "notes.add": EVERYONE,
    # hours
    "time.own": frozenset({OWNER, MECHANIC}),  # one's own clock
    "time.book": frozenset({OWNER, OFFICE, MECHANIC}),  # book and correct; whose hours: time.edit
    "time.read": frozenset({OWNER, OFFICE}),
    "time.edit": frozenset({OWNER, OFFICE}),  # book and correct for others
    # parts and stock
    "parts.read": EVERYONE,
    "parts.edit": frozenset({OWNER, STORES}),
    "prices.read": frozenset({OWNER, OFFICE, STORES}),  # the markups; mechanics never see them
    "prices.edit": frozenset({OWNER}),
    "stock.read": EVERYONE,
    "stock.receive": frozenset({OWNER, STORES}),
    "stock.move": frozenset({OWNER, STORES}),
    "stock.scrap": frozenset({OWNER, STORES}),
    "stock.count": frozenset({OWNER, STORES}),
    "stock.override": frozenset({OWNER}),  # an expired lot
    "stock.value": frozenset({OWNER, OFFICE}),  # what the stock is worth
    "stock.revalue": frozenset({OWNER, OFFICE}),  # a late invoice says another cost
    "labels.print": EVERYONE,
    "labels.edit": frozenset({OWNER, STORES}),  # the papers
    "draws.read": EVERYONE,
    "draws.plan": frozenset({OWNER, OFFICE, MECHANIC, STORES}),
    "draws.draw": frozenset({OWNER, MECHANIC, STORES}),
    "draws.order": frozenset({OWNER, OFFICE, STORES}),  # order what a card lacks, onto a draft
    "draws.move": frozenset({OWNER}),  # give one card what another has
    "costs.read": frozenset({OWNER, OFFICE, STORES}),  # what a lot cost; mechanics never see it
    "margin.read": frozenset({OWNER}),
    "buying.read": frozenset({OWNER, OFFICE, STORES}),
    "buying.edit": frozenset({OWNER, STORES}),
    "buying.bill": frozenset({OWNER, OFFICE}),  # record what a supplier charges
    "buying.override": frozenset({OWNER, OFFICE}),  # take in more than was ordered
    "reorder.read": frozenset({OWNER, OFFICE, STORES}),
    "reorder.edit": frozenset({OWNER, OFFICE, STORES}),  # order or put off what is proposed; rules of it
    # money
    "estimates.read": frozenset({OWNER, OFFICE}),
    "estimates.edit": frozenset({OWNER, OFFICE}),
    "estimates.discount": frozenset({OWNER}),
    "goahead.record": frozenset({OWNER, OFFICE}),
    "invoices.read": frozenset({OWNER, OFFICE}),
    "invoices.issue": frozenset({OWNER, OFFICE}),
    "invoices.credit": frozenset({OWNER}),
    "invoices.override": frozenset({OWNER}),  # charge what was never agreed; issue with clocks running or parts loose
    "payments.record": frozenset({OWNER, OFFICE}),
    "books.read": frozenset({OWNER, OFFICE}),  # the journal, work in progress
    "books.edit": frozenset({OWNER}),  # which account stands for what
    "books.close": frozenset({OWNER}),  # close a month, open it again
}

# What a person may do after switching in with a PIN on a shared tablet: bench work only.
PIN_RIGHTS = frozenset(
    {
        "home.read", "find.read", "alerts.own", "files.read", "files.add", "machines.read", "machines.usage", "plans.read", "cards.read",
        "cards.hold", "stages.work", "notes.add", "time.own", "time.book", "parts.read", "stock.read", "draws.read", "draws.plan",
        "draws.draw", "business.read",
    }
)  # fmt: skip


def rights_of(roles: Iterable[str], *, by_pin: bool = False) -> frozenset[str]:
    """All rights that these roles give; fewer when signed in by PIN. An unknown role gives none."""
    held = set(roles)
    granted = frozenset(right for right, allowed in RIGHTS.items() if held & allowed)
    return granted & PIN_RIGHTS if by_pin else granted


def require(person, right: str) -> None:
    """Raise NotAllowed unless `person` holds `right`. A right that isn't in the table is a programming error."""
    if right not in RIGHTS:
        raise KeyError(f"no such right: {right}")
    if right not in person.rights:
        needed = " or ".join(sorted(RIGHTS[right]))
        raise NotAllowed(f"This needs the role {needed}. Ask someone who holds it.", code="not-allowed")
