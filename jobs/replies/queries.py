"""Reads of the customer's links."""

from __future__ import annotations

from django.db.models import QuerySet
from django.urls import reverse

from jobs.estimates import queries as estimates
from jobs.estimates.agreed import Answer
from jobs.estimates.models import Estimate, EstimateLine, GoAhead
from shop.documents.models import Attachment
from shop.documents.queries import for_customer
from shop.kernel import clock
from shop.trail.record import kind_of

from . import tokens
from .models import CustomerLink, Reply

STATES = {
    "open": ("Can be opened", "sent"),
    "revoked": ("Revoked", "off"),
    "superseded": ("Closed by a newer revision", "off"),
    "withdrawn": ("Closed: the estimate was withdrawn", "off"),
    "expired": ("Has run out", "late"),
    "closed": ("Closed with the card", "off"),
}


def _links() -> QuerySet[CustomerLink]:
    return CustomerLink.objects.select_related("estimate__card__customer", "made_by", "revoked_by")


def links(*, estimate_id: int) -> QuerySet[CustomerLink]:
    return _links().filter(estimate=estimate_id)


def link(pk: int) -> CustomerLink | None:
    return _links().filter(pk=pk).first()


def by_token(given: str) -> CustomerLink | None:
    """The link whose token this is, in whatever state."""
    if not tokens.SHAPE.fullmatch(given):
        return None
    digest = tokens.digest(given)
    found = _links().filter(digest=digest).first()
    return found if found is not None and tokens.same(found.digest, digest) else None


def state_of(row: CustomerLink) -> str:
    """A key of STATES. Asks nothing for a row of `links()`."""
    estimate = row.estimate
    if row.revoked_at:
        return "revoked"
    if estimate.superseded_at:
        return "superseded"
    if estimate.withdrawn_at:
        return "withdrawn"
    if row.expires_at <= clock.now() or (estimate.valid_until and estimate.valid_until < clock.today()):
        return "expired"
    return "closed" if estimate.card.cancelled_at or estimate.card.handed_over_at else "open"


def address(row: CustomerLink, site: str) -> str | None:
    """The whole address, to be shown or sent; None when the shop's secret key is another one than it was."""
    token = tokens.token(row.nonce, row.estimate_id)
    if not tokens.same(tokens.digest(token), row.digest):
        return None
    return site.rstrip("/") + reverse("replies:document", args=[token])


def replies(*, estimate_id: int) -> QuerySet[Reply]:
    """Answers by link, with their go-ahead and signature."""
    return Reply.objects.filter(link__estimate=estimate_id).select_related("link", "go_ahead", "signature")


def reply(pk: int) -> Reply | None:
    return Reply.objects.select_related("link", "go_ahead", "signature").filter(pk=pk).first()


def words(estimate: Estimate) -> dict[int, str]:
    """What holds for each line of this very revision: accepted, declined or open, or limit for what went on within the
    customer's limit, to which they never said yes themselves."""
    standing = estimates.answers(estimate)
    unasked = estimates.by_limit(standing)
    return {line: _word(line, answer, unasked) if answer.line == line else "open" for line, answer in standing.items()}


def words_before(estimate: Estimate) -> dict[int, str]:
    """What held for the lines that lines of this revision replace."""
    standing = estimates.answers(estimate)
    unasked = estimates.by_limit(standing)
    return {line: _word(line, x, unasked) for line, x in standing.items() if x.line not in (None, line)}


def _word(line: int, answer: Answer, unasked: frozenset[int]) -> str:
    return "limit" if line in unasked else estimates.word(answer)


def said(estimate: Estimate) -> QuerySet[GoAhead]:
    """What the customer said to this revision, by whatever way, the first first; not what went on within their limit."""
    return estimate.go_aheads.exclude(how=GoAhead.How.LIMIT).order_by("id")


def lines(estimate: Estimate) -> list[EstimateLine]:
    return list(estimates.lines(estimate_id=estimate.pk))


def last_word(estimate: Estimate) -> int:
    """The newest recorded answer to this revision, 0 while there is none."""
    return GoAhead.objects.filter(estimate=estimate).order_by("-id").values_list("pk", flat=True).first() or 0


def issued_pdf(estimate: Estimate) -> Attachment | None:
    """The document as it was issued: the first that was kept with the estimate."""
    kept = Attachment.objects.filter(
        subject=kind_of(Estimate), subject_id=estimate.pk, media_type="application/pdf", added_by__isnull=True
    )
    return kept.order_by("id").first()


def photos(estimate: Estimate) -> QuerySet[Attachment]:
    """What the office ticked of the card's photos and its stages'; nothing of any other card."""
    return for_customer("jobcard", estimate.card_id)
