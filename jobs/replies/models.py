from __future__ import annotations

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

PERSON = settings.AUTH_USER_MODEL


class CustomerLink(models.Model):
    """A way to one revision of one estimate for whoever holds its token. The token itself is kept nowhere: see `tokens`."""

    estimate = models.ForeignKey("jobs_estimates.Estimate", on_delete=models.PROTECT, related_name="links")
    nonce = models.CharField(max_length=64)  # 256 random bits the token is signed from
    digest = models.CharField(max_length=64, unique=True)  # SHA-256 of the token
    document_hash = models.CharField(max_length=64)  # of what the estimate states
    pdf_sha256 = models.CharField(max_length=64)  # of the document as issued
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(PERSON, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    mailed_at = models.DateTimeField(null=True, blank=True)  # last
    mailed_to = models.EmailField(blank=True)
    opened = models.PositiveIntegerField(default=0)  # a mail server that looks at links counts too
    first_opened_at = models.DateTimeField(null=True, blank=True)
    last_opened_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = (models.Index(fields=("estimate", "-id"), name="replies_link_by_estimate"),)


class Reply(models.Model):
    """An answer given by a link: what proves it, beside the go-ahead it was recorded as. Append-only."""

    link = models.ForeignKey(CustomerLink, on_delete=models.PROTECT, related_name="replies")
    go_ahead = models.OneToOneField("jobs_estimates.GoAhead", on_delete=models.PROTECT, related_name="reply")
    once = models.UUIDField()  # of the page it was sent from: sent twice, it happens once
    answered_at = models.DateTimeField()
    address = models.GenericIPAddressField(null=True, blank=True)
    pdf_sha256 = models.CharField(max_length=64)
    wording = models.JSONField(encoder=DjangoJSONEncoder)  # what was shown and asked, and each line with its word
    signature = models.ForeignKey(
        "shop_documents.Attachment", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = (models.UniqueConstraint(fields=("link", "once"), name="replies_once"),)
