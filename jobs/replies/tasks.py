"""Background work of the replies room."""

from __future__ import annotations

from shop.trail import mail
from shop.trail.outbox import Event, Undeliverable, handles

from . import letters, queries


@handles("link.mail")
def send_link(event: Event) -> None:
    """The mail is written here and not when it is queued, so that no row of the outbox holds a link that opens something."""
    row = queries.link(event.payload["link"])
    if row is None:
        raise Undeliverable("There is no such link.")
    if queries.state_of(row) != "open":
        raise Undeliverable("The link was closed before its mail went out. Make a new one if it is still wanted.")
    address = queries.address(row, event.payload["site"])
    if address is None:
        raise Undeliverable("The shop's secret key was changed since. Make a new link.")
    mail.send(event._replace(payload=letters.link(row, address)))
