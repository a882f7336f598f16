"""Sends a queued mail.

    announce("mail.send", to=["mara@quill.example"], subject="...", text="...", html="...",
             attachments=[{"file": attachment.file.name, "name": "estimate.pdf", "type": "application/pdf"}])

`file` names a stored file (Django's storage API). A mail may arrive twice; both carry the same Message-ID.
"""

from __future__ import annotations

import smtplib
from email.utils import parseaddr
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.core.mail import EmailMultiAlternatives
from django.core.validators import validate_email

from .outbox import Event, Undeliverable


def message_id(event: Event) -> str:
    """The same for every attempt at one event, so that a duplicate can be recognised."""
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "localhost"
    return f"<outbox-{event.id}-{event.created_at:%Y%m%d%H%M%S%f}@{domain}>"


def send(event: Event) -> None:
    """Send the mail of this event. Raises Undeliverable when trying again can't help."""
    mail = _compose(event)
    try:
        mail.send()
    except smtplib.SMTPRecipientsRefused as error:
        codes = {code for code, _ in error.recipients.values()}
        if all(500 <= code < 600 for code in codes):
            raise Undeliverable(f"The mail server refuses {', '.join(error.recipients)}: {error}") from error
        raise


def _compose(event: Event) -> EmailMultiAlternatives:
    payload: dict[str, Any] = event.payload
    to = [payload["to"]] if isinstance(payload.get("to"), str) else list(payload.get("to") or [])
    if not to:
        raise Undeliverable("The mail has no address. Add one and send it from its page again.")
    for address in to:
        try:
            validate_email(parseaddr(address)[1] or address)
        except ValidationError as error:
            raise Undeliverable(f"“{address}” is not a mail address.") from error
    mail = EmailMultiAlternatives(
        subject=" ".join(str(payload.get("subject", "")).split()),  # a line break would start another header
        body=payload.get("text", ""),
        to=to,
        reply_to=[payload["reply_to"]] if payload.get("reply_to") else None,
        headers={"Message-ID": message_id(event)},
    )
    if payload.get("html"):
        mail.attach_alternative(payload["html"], "text/html")
    for part in payload.get("attachments", ()):
        try:
            with default_storage.open(part["file"], "rb") as stored:
                mail.attach(part.get("name") or part["file"].rsplit("/", 1)[-1], stored.read(), part.get("type"))
        except FileNotFoundError as error:
            raise Undeliverable(f"The file {part['file']} that should go along is gone.") from error
    return mail
