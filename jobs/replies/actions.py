"""Every write about customers' links. The estimate's row is the lock: whoever revises, withdraws or answers it holds it too."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, time, timedelta
from uuid import UUID

from django.db.models import F
from django.utils import timezone

from jobs.estimates import actions as estimates
from jobs.estimates import charging, printing
from jobs.estimates.models import Estimate
from shop.documents import actions as documents
from shop.documents.models import Attachment
from shop.documents.uploads import Checked
from shop.kernel import clock
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.versions import claim
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import announce, record

from . import queries, showing, tokens
from .models import CustomerLink, Reply

USUAL_DAYS, MOST_DAYS = 14, 60
MOST_LINKS = 20
"""That can be opened, of one estimate."""


@writes
def make_link(estimate_id: int, *, by: Person, days: int | None = None) -> CustomerLink:
    """A link to this revision for its customer, good for `days` (14 unless given) and never longer than the prices.

    Raises NotFound, BadInput (days), Refused for a draft, for what is no longer offered, and for too many links.
    """
    days = USUAL_DAYS if days is None else days
    if not 1 <= days <= MOST_DAYS:
        raise field_error("days", f"Give 1 to {MOST_DAYS} days.", code="bad-days")
    estimate = claim(Estimate, estimate_id, None)
    estimates.refuse_unanswerable(estimate)
    card = estimate.card
    if card.cancelled_at or card.handed_over_at:
        raise Refused(f"Card {card.number} is closed, so there is nothing left to agree.", code="card-closed")
    live = [row for row in queries.links(estimate_id=estimate_id) if queries.state_of(row) == "open"]
    if len(live) >= MOST_LINKS:
        raise Refused(f"{MOST_LINKS} links to it can be opened already. Revoke one first.", code="too-many-links")
    now = clock.now()
    expires_at = now + timedelta(days=days)
    if estimate.valid_until:
        last = timezone.make_aware(datetime.combine(estimate.valid_until, time.max))
        expires_at = min(expires_at, last)
    nonce = tokens.new_nonce()
    row = CustomerLink.objects.create(
        estimate=estimate, nonce=nonce, digest=tokens.digest(tokens.token(nonce, estimate_id)),
        document_hash=estimates.fingerprint(estimate), pdf_sha256=_issued_pdf(estimate).sha256,
        made_at=now, made_by=by, expires_at=expires_at,
    )  # fmt: skip
    record(by, "link.made", row, root=card, number=estimate.number, until=expires_at.isoformat())
    return row


def _issued_pdf(estimate: Estimate) -> Attachment:
    """The document as issued; when the outbox hasn't come to it yet, it is done here as there."""
    kept = queries.issued_pdf(estimate)
    if kept is None:
        estimates.deliver_estimate(estimate.pk, printing.pdf(estimate), printing.file_name(estimate))
        kept = queries.issued_pdf(estimate)
    if kept is None:
        raise Refused("The document can't be typeset. Look at its PDF, then try again.", code="no-document")
    return kept


@writes
def mail_link(link_id: int, *, by: Person, site: str) -> CustomerLink:
    """Queue a mail with the link to the customer. `site` is the address the shop is reached at from outside.

    Raises NotFound, Refused when it can't be opened, there is no address, or the customer doesn't want mail.
    """
    row = _locked(link_id)
    _refuse_closed(row)
    customer = row.estimate.card.customer
    if not customer.email:
        raise Refused(
            f"No mail address is known of {customer.name}. Add one on the customer's page.", code="no-address"
        )
    if not customer.mail_consent_at:
        raise Refused(
            f"{customer.name} hasn't agreed to be mailed. Ask, note it on the customer's page, then send it.",
            code="no-consent",
        )
    row.mailed_at, row.mailed_to = clock.now(), customer.email
    row.save(update_fields=["mailed_at", "mailed_to"])
    announce("link.mail", link=row.pk, site=site)
    record(by, "link.mailed", row, root=row.estimate.card, number=row.estimate.number, to=customer.email)
    return row


@writes
def revoke_link(link_id: int, *, by: Person) -> CustomerLink:
    """From now on the link opens nothing. Revoked already: nothing happens. Raises NotFound."""
    row = _locked(link_id)
    if row.revoked_at is None:
        row.revoked_at, row.revoked_by = clock.now(), by
        row.save(update_fields=["revoked_at", "revoked_by"])
        record(by, "link.revoked", row, root=row.estimate.card, number=row.estimate.number)
    return row


@writes
def note_opened(link_id: int) -> None:
    """Count that the link was opened; the first time stands in the history. What it leads to stays as it is."""
    now = clock.now()
    rows = CustomerLink.objects.filter(pk=link_id)
    first = rows.filter(first_opened_at__isnull=True).update(first_opened_at=now)
    rows.update(opened=F("opened") + 1, last_opened_at=now)
    if first:
        row = CustomerLink.objects.select_related("estimate__card").get(pk=link_id)
        record(None, "link.opened", row, root=row.estimate.card, number=row.estimate.number)


@writes
def answer(
    link_id: int, *, once: UUID, seen: int, answers: Mapping[int, bool], said_by: str, address: str | None = None,
    signature: Checked | None = None,
) -> Reply:  # fmt: skip
    """The customer's yes (True) or no (False) to lines, by link; lines left out stay open.

    `once` names the page it was sent from: sent twice, it is recorded once. `seen` is the newest answer that page knew of
    (`queries.last_word`); when there is a newer one, nothing is recorded and the customer looks again. Kept: time, `address`,
    the hashes of the document, the wording, each line's word, and what was drawn by finger. Raises NotFound, BadInput (said_by,
    answers), Refused.
    """
    row = _locked(link_id)
    estimate = row.estimate
    known = Reply.objects.filter(link=row, once=once).first()
    if known is not None:
        return known
    _refuse_closed(row)
    if not tokens.same(estimates.fingerprint(estimate), row.document_hash):
        raise Refused("This document is not the one the link was made for.", code="not-the-document")
    words = queries.words(estimate)
    lines = queries.lines(estimate)
    answers = charging.with_charges(answers, {x.pk: x.accompanies_id for x in lines})
    settled = [line for line in answers if words.get(line, "open") != "open"]
    if settled or queries.last_word(estimate) != seen:
        raise Refused("Meanwhile another answer was recorded. Look at it, then answer what is left.", code="answered")
    said = estimates.record_go_ahead(
        estimate.pk, by=None, for_whom=row.made_by, answers=answers, how="link", said_by=said_by, said_at=clock.now()
    )
    drawn = None
    if signature is not None:
        title = f"Signature of {said.said_by}"
        drawn = documents.keep_signature(estimate, signature, title[:160], root=estimate.card)
    reply = Reply.objects.create(
        link=row, go_ahead=said, once=once, answered_at=said.recorded_at, address=address, pdf_sha256=row.pdf_sha256,
        wording=showing.wording(estimate, lines, answers), signature=drawn,
    )  # fmt: skip
    record(
        None, "link.answered", row, root=estimate.card, number=estimate.number, said_by=said.said_by, address=address or "",
        signed=drawn is not None,
    )  # fmt: skip
    return reply


def _locked(link_id: int) -> CustomerLink:
    """The link with its estimate locked, both as they are now."""
    estimate_id = CustomerLink.objects.filter(pk=link_id).values_list("estimate_id", flat=True).first()
    if estimate_id is None:
        raise NotFound("There is no such link.")
    estimate = claim(Estimate, estimate_id, None)
    row = CustomerLink.objects.select_related("made_by").get(pk=link_id)
    row.estimate = estimate
    return row


def _refuse_closed(row: CustomerLink) -> None:
    state = queries.state_of(row)
    if state != "open":
        raise Refused(f"{queries.STATES[state][0]}: make a new link.", code=f"link-{state}")
