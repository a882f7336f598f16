"""/api/v1/business/, payment-terms/, sites/, working-hours/, closed-days/, tax-rates/, labour-rates/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Choice, Day, Email, Flag, Id, Int, Money, Number, Out, Query, Text, TimeOfDay
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb

from . import actions, queries
from .models import ClosedDay, LabourRate, WorkingHours
from .rates import CATEGORIES, STAGE_KINDS
from .terms_api import PaymentTerms


class BusinessEdit(Body):
    name = Text(max_length=120)
    legal_name = Text(max_length=160, required=False)
    street = Text(max_length=160, required=False)
    postcode = Text(max_length=20, required=False)
    city = Text(max_length=80, required=False)
    country = Text(max_length=2, help_text="ISO 3166-1 alpha-2.")
    phone = Text(max_length=40, required=False)
    email = Email(allow_blank=True, required=False)
    website = Text(max_length=120, required=False)
    vat_no = Text(max_length=20, required=False)
    registration = Text(max_length=80, required=False, help_text="Company register and number.")
    iban = Text(max_length=42, required=False)
    bic = Text(max_length=11, required=False)
    currency = Text(max_length=3, help_text="ISO 4217. Can't change once set.")
    payment_days = Int(min_value=0, max_value=365)
    estimate_days = Int(min_value=1, max_value=365)
    sundries_percent = Number(places=3, digits=6, min_value=0, max_value=100)
    document_note = Text(max_length=2000, lines=True, required=False)


class BusinessOut(Out):
    name = serializers.CharField()
    legal_name = serializers.CharField()
    street = serializers.CharField()
    postcode = serializers.CharField()
    city = serializers.CharField()
    country = serializers.CharField()
    phone = serializers.CharField()
    email = serializers.CharField()
    website = serializers.CharField()
    vat_no = serializers.CharField()
    registration = serializers.CharField()
    iban = serializers.CharField()
    bic = serializers.CharField()
    currency = serializers.CharField()
    payment_days = Int()
    estimate_days = Int()
    sundries_percent = Number()
    document_note = serializers.CharField()
    is_sample = serializers.BooleanField(help_text="Invented data; documents say so.")
    version = Int()


class Business(Resource):
    kind = "business"
    single = True
    out = BusinessOut

    @reads("business.read")
    def retrieve(self, request: Any) -> Any:
        return queries.profile()

    @edits("business.edit", body=BusinessEdit)
    def partial_update(self, request: Any, body: dict[str, Any], expect: int) -> Any:
        return actions.edit_profile(expect, by=request.user, **body)


class SiteIn(Body):
    code = Text(max_length=12)
    name = Text(max_length=80)


class SiteOut(Out):
    id = Id()
    code = serializers.CharField()
    name = serializers.CharField()
    version = Int()


class Sites(Resource):
    kind = "site"
    out = SiteOut

    @lists("business.read", orders={"oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.sites()

    @reads("business.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.site(pk)

    @posts("business.edit", body=SiteIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.open_site(**body, by=request.user)

    @edits("business.edit", body=SiteIn)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_site(pk, expect, by=request.user, **body)

    @removes("business.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        """Put the site away; the last one stays."""
        actions.archive_site(pk, expect, by=request.user)


class HoursIn(Body):
    weekday = Int(min_value=1, max_value=7, help_text="Monday 1 to Sunday 7.")
    starts = TimeOfDay()
    ends = TimeOfDay()
    break_starts = TimeOfDay(required=False, allow_null=True)
    break_ends = TimeOfDay(required=False, allow_null=True)


class HoursOut(Out):
    id = Id()
    weekday = Int()
    starts = TimeOfDay()
    ends = TimeOfDay()
    break_starts = TimeOfDay(allow_null=True)
    break_ends = TimeOfDay(allow_null=True)


class Hours(Resource):
    kind = "hours"
    out = HoursOut

    @lists("business.read", orders={"weekday": ("weekday",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        """Weekdays with hours. While there are none the shop counts as open Monday to Friday, 8:00 to 17:00."""
        return WorkingHours.objects.all()

    @reads("business.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return WorkingHours.objects.filter(pk=pk).first()

    @posts("business.edit", body=HoursIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """Set the hours of a weekday, in place of what they were."""
        return actions.set_hours(**body, by=request.user)

    @removes("business.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        """The shop does not work on this weekday."""
        actions.close_weekday(pk, by=request.user)


class ClosedIn(Body):
    day = Day()
    reason = Text(max_length=120)


class ClosedOut(Out):
    id = Id()
    day = Day()
    reason = serializers.CharField()


class Closed(Resource):
    kind = "closed-day"
    out = ClosedOut

    @lists("business.read", orders={"day": ("day",), "latest": ("-day",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return ClosedDay.objects.all()

    @reads("business.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return ClosedDay.objects.filter(pk=pk).first()

    @posts("business.edit", body=ClosedIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.close_day(**body, by=request.user)

    @removes("business.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.open_day(pk, by=request.user)


def _reasons() -> serializers.DictField:
    told = 'The same by document language ({"de": "..."}), where the words above don\'t do.'
    return serializers.DictField(child=Text(max_length=200, required=False), required=False, help_text=told)


class TaxIn(Body):
    code = Text(max_length=20, help_text="Your own short name, such as S23.")
    name = Text(max_length=80)
    category = Choice(choices=list(CATEGORIES), default="S", help_text="UNTDID 5305, as EN 16931 uses it.")
    percent = Number(places=3, digits=6, min_value=0, max_value=100)
    reason = Text(max_length=200, required=False, help_text="Why no VAT is charged; needed for E, AE, K, G and O.")
    reasons = _reasons()
    valid_from = Day()
    valid_to = Day(required=False, allow_null=True)
    is_default = Flag(required=False)


class TaxEdit(Body):
    name = Text(max_length=80)
    reason = Text(max_length=200, required=False)
    reasons = _reasons()


class TaxChange(Body):
    percent = Number(places=3, digits=6, min_value=0, max_value=100)
    valid_from = Day()


class TaxEnd(Body):
    valid_to = Day()


class TaxOut(Out):
    id = Id()
    code = serializers.CharField()
    name = serializers.CharField()
    category = serializers.CharField()
    percent = Number()
    reason = serializers.CharField()
    reasons = serializers.DictField(child=serializers.CharField())
    valid_from = Day()
    valid_to = Day(allow_null=True)
    is_default = serializers.BooleanField()
    version = Int()


class TaxQuery(Query):
    on = Day(required=False, help_text="Only those in force on this day.")
    code = serializers.CharField(max_length=20, required=False)


class TaxRates(Resource):
    """VAT rates. They are examples until your tax adviser has confirmed them."""

    kind = "tax-rate"
    out = TaxOut

    @lists("business.read", query=TaxQuery, orders={"code": ("code", "valid_from", "id")})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.tax_rates(**query)

    @reads("business.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.tax_rates().filter(pk=pk).first()

    @posts("business.edit", body=TaxIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_tax_rate(**body, by=request.user)

    @edits("business.edit", body=TaxEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_tax_rate(pk, expect, by=request.user, **body)

    @verb("business.edit", path="change", body=TaxChange, status=201)
    def change(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """A new percentage from a day on; the answer is the new row."""
        return actions.change_tax_rate(pk, None, by=request.user, **body)

    @verb("business.edit", path="end", body=TaxEnd)
    def end(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """The rate holds until and including this day."""
        return actions.end_tax_rate(pk, None, by=request.user, **body)

    @verb("business.edit", path="make-default")
    def make_default(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """What a line gets when nobody says otherwise."""
        return actions.make_default_tax(pk, None, by=request.user)


MINIMUM = "Billed at least of a stage that is worked on at all, where the customer was told so; 0: what it takes."


class LabourIn(Body):
    stage_kind = Choice(choices=list(STAGE_KINDS), required=False, allow_blank=True, help_text="Left out: any kind.")
    labour_class = Text(max_length=40, required=False, help_text="Left out: any class.")
    per_hour = Money(min_value=0, max_value=99_999, help_text="In the currency of the business.")
    minimum_hours = Number(places=2, required=False, min_value=0, max_value=24, help_text=MINIMUM)
    valid_from = Day()


class LabourEdit(Body):
    per_hour = Money(required=False, min_value=0, max_value=99_999)
    minimum_hours = Number(places=2, required=False, min_value=0, max_value=24, help_text=MINIMUM)


class LabourOut(Out):
    id = Id()
    stage_kind = serializers.CharField()
    labour_class = serializers.CharField()
    per_hour = Money()
    minimum_hours = Number(places=2, help_text=MINIMUM)
    valid_from = Day()
    version = Int()


class LabourRates(Resource):
    kind = "labour-rate"
    out = LabourOut

    @lists("business.read", orders={"kind": ("stage_kind", "labour_class", "valid_from", "id")})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return LabourRate.objects.all()

    @reads("business.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return LabourRate.objects.filter(pk=pk).first()

    @posts("business.edit", body=LabourIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_labour_rate(**body, by=request.user)

    @edits("business.edit", body=LabourEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_labour_rate(pk, expect, by=request.user, **body)

    @removes("business.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        """Take away a rate that is not in force yet."""
        actions.remove_labour_rate(pk, expect, by=request.user)


def register(router: Any) -> None:
    router.register("business", Business, basename="business")
    router.register("payment-terms", PaymentTerms, basename="payment-terms")
    router.register("sites", Sites, basename="sites")
    router.register("working-hours", Hours, basename="working-hours")
    router.register("closed-days", Closed, basename="closed-days")
    router.register("tax-rates", TaxRates, basename="tax-rates")
    router.register("labour-rates", LabourRates, basename="labour-rates")
