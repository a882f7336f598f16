"""/api/v1/customer-links/, /replies/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Id, Int, Moment, Out, Query
from shop.api.kit import Resource, lists, posts, reads, verb
from shop.kernel.errors import NotFound, Refused

from . import actions, queries
from .models import CustomerLink, Reply


class LinkOut(Out):
    id = Id()
    estimate_id = Id()
    state = serializers.SerializerMethodField(help_text=", ".join(queries.STATES))
    made_at = Moment()
    made_by_id = Id()
    expires_at = Moment()
    revoked_at = Moment(allow_null=True)
    revoked_by_id = Id(allow_null=True)
    mailed_at = Moment(allow_null=True)
    mailed_to = serializers.CharField()
    opened = Int(help_text="How often; a mail server that looks at links counts too.")
    first_opened_at = Moment(allow_null=True)
    last_opened_at = Moment(allow_null=True)
    document_hash = serializers.CharField(help_text="SHA-256 of what the estimate states.")
    pdf_sha256 = serializers.CharField(help_text="Of the document as issued.")

    def get_state(self, row: CustomerLink) -> str:
        return queries.state_of(row)


class LinkAddressOut(Out):
    address = serializers.CharField(help_text="Opens the estimate for whoever has it: hand it to the customer alone.")


class LinkIn(Body):
    estimate_id = Id(help_text="An issued one that waits for an answer.")
    days = Int(
        required=False, min_value=1, max_value=actions.MOST_DAYS,
        help_text=f"How long it works, {actions.USUAL_DAYS} unless given; never longer than the prices hold.",
    )  # fmt: skip


class ReplyLineOut(Out):
    line_id = Id()
    text = serializers.CharField()
    detail = serializers.CharField()
    quantity = serializers.CharField()
    unit = serializers.CharField()
    net = serializers.CharField()
    accepted = serializers.BooleanField()


class ReplyWordingOut(Out):
    language = serializers.CharField()
    title = serializers.CharField()
    kind = serializers.CharField(help_text="What kind of document it was said to be.")
    statement = serializers.CharField(help_text="What a yes says.")
    told = serializers.ListField(child=serializers.CharField())
    currency = serializers.CharField()
    total_gross = serializers.CharField()
    lines = ReplyLineOut(many=True)


class ReplyOut(Out):
    id = Id()
    link_id = Id()
    estimate_id = Id(source="link.estimate_id")
    go_ahead_id = Id()
    said_by = serializers.CharField(source="go_ahead.said_by")
    answered_at = Moment()
    address = serializers.CharField(allow_null=True, help_text="Where it came from (IP).")
    document_hash = serializers.CharField(source="go_ahead.document_hash", help_text="SHA-256 of what was stated.")
    pdf_sha256 = serializers.CharField(help_text="Of the document as issued.")
    wording = ReplyWordingOut()
    signature_id = Id(allow_null=True, help_text="A file, when it was signed by finger.")


class LinkQuery(Query):
    estimate_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1)


class CustomerLinks(Resource):
    kind = "customer-link"
    out = LinkOut

    @lists("estimates.read", query=LinkQuery, orders={"newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.links(**query)

    @reads("estimates.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.link(pk)

    @posts("goahead.record", body=LinkIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """A link for the customer. Its address is asked for by itself and stands in no other answer."""
        made = actions.make_link(body.pop("estimate_id"), by=request.user, **body)
        return queries.link(made.pk)

    @reads("goahead.record", path="address", out=LinkAddressOut)
    def address(self, request: Any, pk: int) -> Any:
        """The address, while it opens something."""
        row = queries.link(pk)
        if row is None:
            raise NotFound("There is no such link.")
        if queries.state_of(row) != "open":
            raise Refused(f"{queries.STATES[queries.state_of(row)][0]}: make a new link.", code="link-closed")
        found = queries.address(row, request.build_absolute_uri("/"))
        if found is None:
            raise Refused("The shop's secret key was changed since it was made. Make a new link.", code="link-closed")
        return {"address": found}

    @verb("goahead.record", path="mail")
    def mail(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Mail it to the customer."""
        actions.mail_link(pk, by=request.user, site=request.build_absolute_uri("/"))
        return queries.link(pk)

    @verb("goahead.record", path="revoke")
    def revoke(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        actions.revoke_link(pk, by=request.user)
        return queries.link(pk)


class Replies(Resource):
    kind = "reply"
    out = ReplyOut

    @lists("estimates.read", query=LinkQuery, orders={"newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.replies(**query)

    @reads("estimates.read")
    def retrieve(self, request: Any, pk: int) -> Reply | None:
        return queries.reply(pk)


def register(router: Any) -> None:
    router.register("customer-links", CustomerLinks, basename="customer-links")
    router.register("replies", Replies, basename="replies")
