"""/api/v1/customers/, /api/v1/machines/, /api/v1/machines/{id}/readings/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Choice, Email, Flag, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb
from shop.kernel.errors import NotFound

from . import actions, entries, queries
from .models import Customer, UsageUnit

_DESPITE = "Save although somebody or something alike is there (answer 409, type /api/problems/duplicate)."


class CustomerBase(Body):
    kind = Choice(choices=Customer.Kind.choices, required=False)
    name = Text(max_length=160)
    contact = Text(max_length=120, required=False)
    email = Email(required=False, allow_blank=True, max_length=254)
    phone = Text(max_length=40, required=False)
    street = Text(max_length=160, required=False)
    postcode = Text(max_length=20, required=False)
    city = Text(max_length=80, required=False)
    country = Text(max_length=2, required=False, help_text="ISO 3166-1 alpha-2.")
    vat_no = Text(
        max_length=40, required=False, help_text="Form and checksum are checked, not whether it is registered."
    )
    language = Choice(choices=list(entries.LANGUAGES.items()), required=False)
    customer_class = Text(max_length=40, required=False)
    payment_days = Int(min_value=0, max_value=365, required=False, allow_null=True, help_text="null: the shop's own.")
    extra_work_limit = Money(
        min_value=0,
        digits=14,
        required=False,
        allow_null=True,
        help_text="Extra work on a card up to this without asking, before tax, in the shop's currency.",
    )
    note = Text(max_length=4000, lines=True, required=False)
    despite_duplicates = Flag(required=False, help_text=_DESPITE)


class CustomerIn(CustomerBase):
    mail_consent = Flag(required=False, help_text="Agrees to be mailed, from now.")


class CustomerEdit(CustomerBase):
    pass


class CustomerOut(Out):
    id = Id()
    kind = serializers.CharField()
    name = Text(max_length=160)
    contact = Text(max_length=120)
    email = serializers.CharField()
    phone = Text(max_length=40)
    street = Text(max_length=160)
    postcode = Text(max_length=20)
    city = Text(max_length=80)
    country = Text(max_length=2)
    vat_no = Text(max_length=20)
    language = serializers.CharField()
    customer_class = Text(max_length=40)
    payment_days = Int(allow_null=True)
    extra_work_limit = Money(allow_null=True)
    mail_consent_at = Moment(allow_null=True)
    note = Text(max_length=4000)
    created_at = Moment()
    archived_at = Moment(allow_null=True)
    version = Int()


class CustomerQuery(Query):
    text = serializers.CharField(
        max_length=80, required=False, help_text="All words, in name, contact, e-mail, phone, city."
    )
    name = serializers.CharField(max_length=80, required=False, help_text="Part of the name, without case and accents.")
    email = serializers.CharField(max_length=254, required=False)
    phone = serializers.CharField(max_length=40, required=False, help_text="However it is spaced.")
    vat_no = serializers.CharField(max_length=20, required=False)
    archived = serializers.BooleanField(default=False)


class Customers(Resource):
    kind = "customer"
    out = CustomerOut

    @lists("customers.read", query=CustomerQuery, orders={"name": ("sort_name", "id"), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.customers(**query)

    @reads("customers.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.customer(pk)

    @posts("customers.edit", body=CustomerIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_customer(**body, by=request.user)

    @edits("customers.edit", body=CustomerEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_customer(pk, expect, by=request.user, **body)

    @removes("customers.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        return actions.archive_customer(pk, expect, by=request.user)

    @verb("customers.edit", path="restore")
    def restore(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return actions.restore_customer(pk, by=request.user)

    @verb("customers.edit", path="give-mail-consent")
    def give_mail_consent(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return actions.give_mail_consent(pk, by=request.user)

    @verb("customers.edit", path="withdraw-mail-consent")
    def withdraw_mail_consent(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return actions.withdraw_mail_consent(pk, by=request.user)


class MachineBase(Body):
    kind = Text(max_length=40, help_text="Engine, gearbox, pump, generator set ... in the shop's words.")
    maker = Text(max_length=80, required=False)
    model = Text(max_length=80, required=False)
    serial_no = Text(max_length=60, required=False)
    year = Int(min_value=entries.OLDEST_YEAR, max_value=2200, required=False, allow_null=True)
    usage_unit = Choice(choices=UsageUnit.choices, required=False, help_text="UN/ECE Recommendation 20 code.")
    parent_id = Id(required=False, allow_null=True, help_text="The machine of the same customer that it belongs to.")
    note = Text(max_length=4000, lines=True, required=False)
    despite_duplicates = Flag(required=False, help_text=_DESPITE)


class MachineIn(MachineBase):
    customer_id = Id()


class MachineEdit(MachineBase):
    pass


class MachineMove(Body):
    customer_id = Id()


class MachineOut(Out):
    id = Id()
    customer_id = Id()
    customer_name = serializers.CharField(source="customer.name")
    kind = Text(max_length=40)
    maker = Text(max_length=80)
    model = Text(max_length=80)
    serial_no = Text(max_length=60)
    year = Int(allow_null=True)
    usage_unit = serializers.CharField()
    last_value = serializers.SerializerMethodField(help_text="The last reading, in the usage unit.")
    last_read_at = serializers.SerializerMethodField()
    parent_id = Id(allow_null=True)
    note = Text(max_length=4000)
    created_at = Moment()
    archived_at = Moment(allow_null=True)
    version = Int()

    def get_last_value(self, row: Any) -> str | None:
        return Number().to_representation(row.last_value)

    def get_last_read_at(self, row: Any) -> str | None:
        return Moment().to_representation(row.last_read_at)


class MachineQuery(Query):
    text = serializers.CharField(
        max_length=80, required=False, help_text="All words, in maker, model, kind, serial number."
    )
    serial = serializers.CharField(max_length=60, required=False, help_text="Part of it, however it is spaced.")
    maker = serializers.CharField(max_length=80, required=False)
    kind = serializers.CharField(max_length=40, required=False)
    customer_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    parent_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    archived = serializers.BooleanField(default=False)


class Machines(Resource):
    kind = "machine"
    out = MachineOut

    @lists("machines.read", query=MachineQuery, orders={"name": ("sort_name", "id"), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.machines(**query)

    @reads("machines.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.machine(pk)

    @posts("machines.edit", body=MachineIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return queries.machine(actions.add_machine(**body, by=request.user).pk)

    @edits("machines.edit", body=MachineEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        actions.edit_machine(pk, expect, by=request.user, **body)
        return queries.machine(pk)

    @removes("machines.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        return actions.archive_machine(pk, expect, by=request.user)

    @verb("machines.edit", path="restore")
    def restore(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        actions.restore_machine(pk, by=request.user)
        return queries.machine(pk)

    @verb("machines.edit", path="move", body=MachineMove)
    def move(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        actions.move_machine(pk, None, by=request.user, **body)
        return queries.machine(pk)


class ReadingIn(Body):
    value = Number(places=1, digits=12, min_value=0, help_text="In the machine's usage unit.")
    read_at = Moment(required=False, allow_null=True, help_text="When it was read; left out: now.")
    note = Text(max_length=200, required=False, help_text="Needed when it does not fit the readings around it.")


class ReadingOut(Out):
    id = Id()
    machine_id = Id()
    value = Number(places=1, digits=12)
    read_at = Moment()
    by = serializers.CharField(source="by.name")
    note = Text(max_length=200)


class Readings(Resource):
    kind = "reading"
    out = ReadingOut

    @lists("machines.read", orders={"newest": ("-read_at", "-id")})
    def list(self, request: Any, query: dict[str, Any], machine_id: str) -> Any:
        if queries.machine(int(machine_id)) is None:
            raise NotFound("There is no such machine.")
        return queries.readings(int(machine_id))

    @posts("machines.usage", body=ReadingIn, out=ReadingOut)
    def create(self, request: Any, body: dict[str, Any], machine_id: int) -> Any:
        return actions.read_usage(machine_id, by=request.user, **body)


def register(router: Any) -> None:
    router.register("customers", Customers, basename="customers")
    router.register("machines", Machines, basename="machines")
    router.register("machines/(?P<machine_id>[0-9]{1,18})/readings", Readings, basename="machine-readings")
