"""/api/v1/estimates/, /estimate-lines/, /go-aheads/"""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from shop.api.fields import Body, Choice, Day, Flag, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.files import downloads
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb
from shop.api.shaping import shown
from shop.kernel.errors import NotFound

from . import actions, explaining, outlook, printing, queries, todays
from .models import Estimate, EstimateLine, GoAhead, LineKind

_PERCENT: dict[str, Any] = {"places": 3, "digits": 6}


class TaxGroupOut(Out):
    category = serializers.CharField(help_text="UNTDID 5305, as EN 16931 uses it.")
    percent = Number(**_PERCENT)
    lines = Money(help_text="Sum of the lines of this rate.")
    discount = Money(help_text="Its part of the document's discount.")
    base = Money(help_text="BT-116.")
    tax = Money(help_text="BT-117.")
    reason = serializers.CharField(help_text="Why no tax is due.")


class HowOut(Out):
    figure = serializers.CharField()
    how = serializers.CharField()


class TotalsOut(Out):
    """What estimates and invoices state."""

    currency = serializers.CharField()
    language = serializers.CharField()
    issued_at = Moment(allow_null=True)
    issued_on = Day(allow_null=True)
    discount_percent = Number(**_PERCENT)
    discount_reason = serializers.CharField()
    tax_groups = TaxGroupOut(many=True)
    sum_net = Money(help_text="Sum of the lines, BT-106.")
    total_net = Money(help_text="Without tax, BT-109.")
    total_tax = Money(help_text="BT-110.")
    total_gross = Money(help_text="With tax, BT-112.")
    note = serializers.CharField()
    how = serializers.SerializerMethodField(help_text="How each total came about.")
    version = Int()

    @extend_schema_field(HowOut(many=True))
    def get_how(self, row: Any) -> list[dict[str, str]]:
        return [{"figure": figure, "how": how} for figure, how in explaining.document(row)]


class LineBaseOut(Out):
    """What lines of estimates and invoices state. Cost and margin only for those who may see them."""

    id = Id()
    position = Int()
    kind = serializers.CharField()
    text = serializers.CharField()
    detail = serializers.CharField()
    quantity = Number()
    unit = serializers.CharField(help_text="UN/ECE Recommendation 20 code.")
    unit_price = Money(places=6, help_text="Without tax.")
    discount_percent = Number(**_PERCENT)
    discount_reason = serializers.CharField()
    tax_code = serializers.CharField()
    tax_category = serializers.CharField()
    tax_percent = Number(**_PERCENT)
    net = Money(help_text="BT-131.")
    pricing = serializers.CharField()
    stage_id = Id(allow_null=True)
    part_id = Id(allow_null=True)
    accompanies_id = Id(
        allow_null=True, help_text="The part's line that this charge goes with: its quantity and answer."
    )
    how = serializers.SerializerMethodField(help_text="How the figure came about, in sentences.")
    cost = Money(allow_null=True, required=False, help_text="Only with the right margin.read.")
    margin = serializers.SerializerMethodField(required=False, help_text="Net less cost; only with margin.read.")

    def get_margin(self, row: Any) -> str | None:
        return None if row.cost is None else Money().to_representation(row.net - row.cost)

    def to_representation(self, row: Any) -> Any:
        data = super().to_representation(row)
        if "margin.read" not in self.context["rights"]:
            data.pop("cost"), data.pop("margin")
        return data


class LineBody(Body):
    kind = Choice(choices=LineKind.choices, required=False)
    text = Text(max_length=240, required=False)
    detail = Text(max_length=4000, lines=True, required=False)
    quantity = Number(required=False, help_text="Above zero, in `unit`.")
    unit = Text(max_length=3, required=False, help_text="UN/ECE Recommendation 20 code, such as HUR, C62, LS.")
    unit_price = Number(required=False, help_text="Without tax, at most 6 decimals.")
    discount_percent = Number(required=False, **_PERCENT)
    discount_reason = Text(max_length=120, required=False)
    tax_code = Text(max_length=20, required=False, help_text="Code of a tax rate; empty: the default one.")


class EstimateLineEdit(LineBody):
    pricing = Choice(choices=EstimateLine.Pricing.choices, required=False)
    optional = Flag(required=False, help_text="Not in the total until the customer says yes.")
    stage_id = Id(required=False, allow_null=True, help_text="A stage of the card.")
    cost = Money(required=False, allow_null=True, help_text="What the line is expected to cost us.")
    markup = Number(required=False, **_PERCENT, help_text="Percent on `cost`; sets the price.")


class EstimateLineIn(EstimateLineEdit):
    estimate_id = Id(help_text="A draft.")
    part_id = Id(
        required=False, allow_null=True, help_text="A part of the catalogue: text, unit, price and tax follow."
    )


class EstimateLineOut(LineBaseOut):
    estimate_id = Id()
    optional = Flag()
    answer = serializers.SerializerMethodField(help_text="accepted, declined or open.")
    version = Int(help_text="Of the estimate.")

    def get_how(self, row: EstimateLine) -> list[str]:
        return explaining.line(row, row.estimate.currency)

    def get_answer(self, row: EstimateLine) -> str:
        asked: dict[int, Any] = self.context.setdefault("answers", {})  # type: ignore[attr-defined]
        if row.estimate_id not in asked:
            asked[row.estimate_id] = queries.answers(row.estimate)
        return queries.word(asked[row.estimate_id].get(row.pk))


class OutlookOut(Out):
    """Half of such jobs stay below the likely figures, four of five below the careful ones. Prices without tax."""

    likely_hours = Number(places=2)
    careful_hours = Number(places=2)
    likely = Money()
    careful = Money()
    jobs = Int(help_text="Finished stages of our own that are behind it.")
    options = Int(help_text="Optional pieces of work that count with their chance.")


class EstimateOut(TotalsOut):
    id = Id()
    number = serializers.CharField(help_text="Given when it is issued.")
    revision = Int()
    kind = serializers.CharField()
    state = serializers.SerializerMethodField(help_text=", ".join(queries.STATES))
    card_id = Id()
    card_number = serializers.CharField(source="card.number")
    customer_id = Id(source="card.customer_id")
    customer_name = serializers.CharField(source="card.customer.name")
    valid_until = Day(allow_null=True)
    outlook = serializers.SerializerMethodField(help_text="null: a draft, or nothing of it varies.")

    @extend_schema_field(OutlookOut(allow_null=True))
    def get_outlook(self, row: Estimate) -> Any:
        found = outlook.read(row.outlook)
        return None if found is None else shown(OutlookOut, [found], dict(self.context))[0]

    def get_state(self, row: Estimate) -> str:
        return queries.state_of(row)


class EstimateIn(Body):
    card_id = Id()
    kind = Choice(choices=Estimate.Kind.choices, required=False)


class EstimateEdit(Body):
    note = Text(max_length=4000, lines=True, required=False, help_text="Stands below the totals.")
    discount_percent = Number(required=False, **_PERCENT, help_text="On the whole document; needs estimates.discount.")
    discount_reason = Text(max_length=120, required=False)


class EstimateIssueIn(Body):
    valid_until = Day(required=False)
    keep_prices = Flag(required=False, help_text="Issue it with prices that are others today; see price-changes.")


class PriceChangeOut(Out):
    line_id = Id()
    text = serializers.CharField()
    old_price = Money(places=6, help_text="As it stands on the draft, of one, without tax.")
    new_price = Money(places=6, allow_null=True, help_text="Of today; null: there is none any more.")
    carried = Flag(help_text="Taken over from the revision before, so the customer was told the old one.")


class PriceChangeList(Out):
    items = PriceChangeOut(many=True)


class WithdrawalIn(Body):
    reason = Text(max_length=200)


class LineMoveIn(Body):
    up = Flag()


class AnswerIn(Body):
    line_id = Id()
    accepted = Flag()


class GoAheadIn(Body):
    answers = serializers.ListField(child=AnswerIn(), min_length=1, max_length=2000, help_text="Left out: stays open.")
    how = Choice(choices=[c for c in GoAhead.How.choices if c[0] not in ("link", "limit")])
    said_by = Text(max_length=120, help_text="The customer's person.")
    said_at = Moment()
    note = Text(max_length=300, required=False)


class AnswerOut(Out):
    line_id = Id()
    accepted = Flag()


class GoAheadOut(Out):
    id = Id()
    estimate_id = Id()
    how = serializers.CharField()
    said_by = serializers.CharField()
    said_at = Moment()
    recorded_at = Moment()
    recorded_by_id = Id(allow_null=True)
    document_hash = serializers.CharField(help_text="SHA-256 of what was shown.")
    note = serializers.CharField()
    limit_used = Money(allow_null=True, help_text="By limit: how much of it, before tax.")
    limit_of = Money(allow_null=True, help_text="How much it was, on one card.")
    answers = AnswerOut(source="lines", many=True)


class LimitOut(Out):
    currency = serializers.CharField()
    limit = Money(
        allow_null=True,
        help_text="null: asked about everything. What the customer lets be done on a card without asking, before tax.",
    )
    used = Money(help_text="Of it, on this card.")
    left = Money()
    open = Money(help_text="What of this document could go on by it.")


class EstimateQuery(Query):
    card_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    customer_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    state = serializers.ChoiceField(choices=list(queries.STATES), required=False)
    kind = serializers.ChoiceField(choices=Estimate.Kind.choices, required=False)
    number = serializers.CharField(max_length=20, required=False, help_text="Its start.")
    since = Day(required=False, help_text="Issued on or after.")


class OfEstimate(Query):
    estimate_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1)


class Estimates(Resource):
    kind = "estimate"
    out = EstimateOut

    @lists("estimates.read", query=EstimateQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.estimates(**query)

    @reads("estimates.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.estimate(pk)

    @posts("estimates.edit", body=EstimateIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """A draft from the card's stages, needs and today's prices."""
        return actions.draft_estimate(by=request.user, **body)

    @edits("estimates.edit", body=EstimateEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_estimate(pk, expect, by=request.user, **body)

    @removes("estimates.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        """Discard a draft."""
        actions.discard_estimate(pk, expect, by=request.user)

    @verb("estimates.edit", path="issue", body=EstimateIssueIn)
    def issue(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return actions.issue_estimate(pk, None, by=request.user, **body)

    @reads("estimates.read", path="price-changes", out=PriceChangeList)
    def price_changes(self, request: Any, pk: int) -> Any:
        """Lines of a draft whose price came from the catalogue, a rule, a rate or a charge, and is another today."""
        return todays.of_draft(pk)

    @verb("estimates.edit", path="todays-prices")
    def todays_prices(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Give the lines that price-changes names the prices of today."""
        return actions.take_todays_prices(pk, None, by=request.user)

    @verb("estimates.edit", path="new-revision", status=201, out=EstimateOut)
    def new_revision(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """A draft that takes its place when issued."""
        return actions.new_revision(pk, by=request.user)

    @verb("estimates.edit", path="withdraw", body=WithdrawalIn)
    def withdraw(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return actions.withdraw_estimate(pk, by=request.user, **body)

    @verb("goahead.record", path="go-ahead", body=GoAheadIn, status=201, out=GoAheadOut)
    def go_ahead(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Record the customer's yes or no, line by line."""
        given = body.pop("answers")
        answers = {a["line_id"]: a["accepted"] for a in given}
        if len(answers) != len(given):
            raise ValidationError({"answers": ["A line is named twice."]})
        return actions.record_go_ahead(pk, by=request.user, answers=answers, **body)

    @verb("goahead.record", path="within-limit", status=201, out=GoAheadOut)
    def within_limit(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Go on with a notice of additional work without asking, within what is left of the customer's limit."""
        return actions.go_on_within_limit(pk, by=request.user)

    @reads("estimates.read", path="limit", out=LimitOut)
    def limit(self, request: Any, pk: int) -> Any:
        """What is left on its card of the customer's limit."""
        found = queries.estimate(pk)
        if found is None:
            return None
        limit = queries.limit_on(found.card)
        amount = sum((x.net for x in queries.within_limit(found)), queries.ZERO)
        return {
            "currency": found.currency, "limit": limit.amount, "used": limit.used, "left": limit.left, "open": amount,
        }  # fmt: skip

    @downloads("estimates.read")
    def pdf(self, request: Any, pk: int) -> tuple[bytes, str]:
        """The document, tagged for screen readers; marked as a draft until it is issued."""
        found = queries.estimate(pk)
        if found is None:
            raise NotFound("There is no such estimate.")
        return printing.pdf(found), printing.file_name(found)


class EstimateLines(Resource):
    kind = "estimate-line"
    out = EstimateLineOut

    @lists("estimates.read", query=OfEstimate, orders={"position": ("position", "id")})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.lines(**query)

    @reads("estimates.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.line(pk)

    @posts("estimates.edit", body=EstimateLineIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_line(body.pop("estimate_id"), None, by=request.user, **body)

    @edits("estimates.edit", body=EstimateLineEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_line(pk, expect, by=request.user, **body)

    @removes("estimates.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.remove_line(pk, expect, by=request.user)

    @verb("estimates.edit", path="move", body=LineMoveIn, out=EstimateOut)
    def move(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Past its neighbour of the same kind."""
        return actions.move_line(pk, None, by=request.user, **body)


class GoAheads(Resource):
    kind = "go-ahead"
    out = GoAheadOut

    @lists("estimates.read", query=OfEstimate, orders={"newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.go_aheads(query["estimate_id"])

    @reads("estimates.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.go_ahead(pk)


def register(router: Any) -> None:
    router.register("estimates", Estimates, basename="estimates")
    router.register("estimate-lines", EstimateLines, basename="estimate-lines")
    router.register("go-aheads", GoAheads, basename="go-aheads")
