"""/api/v1/me/, people/, tokens/, tablets/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Choice, Email, Flag, Id, Int, Moment, Money, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, verb
from shop.kernel.rights import Role

from . import queries
from .actions import own, staff, tablets
from .models import ApiToken, Person

ROLE = [role.value for role in Role]


class MeOut(Out):
    id = Id()
    username = serializers.CharField()
    name = serializers.CharField()
    roles = serializers.ListField(child=serializers.ChoiceField(ROLE))
    rights = serializers.SerializerMethodField(help_text="What you may do; each operation names the right it needs.")
    two_step = serializers.SerializerMethodField(help_text="Whether a second step is asked for at sign-in.")

    def get_rights(self, person: Person) -> list[str]:
        return sorted(person.rights)

    def get_two_step(self, person: Person) -> bool:
        return bool(person.totp_secret)


class Me(Resource):
    kind = "person"
    single = True
    out = MeOut

    @reads("home.read")
    def retrieve(self, request: Any) -> Any:
        """Who you are and what you may do."""
        return request.user


class Roles(serializers.ListField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(child=Choice(choices=ROLE), min_length=1, max_length=len(ROLE), **kwargs)


class PersonIn(Body):
    username = Text(max_length=40, help_text="Small letters, digits, dots and dashes; begins with a letter.")
    name = Text(max_length=120)
    roles = Roles()
    password = serializers.CharField(
        min_length=10, max_length=1000, trim_whitespace=False, help_text="Replaced by the person at the first sign-in."
    )
    email = Email(required=False, allow_blank=True)
    labour_class = Text(max_length=40, required=False)
    cost_per_hour = Money(required=False, allow_null=True, help_text="In the currency of the business.")


class PersonEdit(Body):
    username = Text(max_length=40)
    name = Text(max_length=120)
    roles = Roles()
    email = Email(allow_blank=True)
    labour_class = Text(max_length=40, required=False)
    cost_per_hour = Money(allow_null=True)
    is_active = Flag(help_text="false: has left. Sessions and tokens end at once.")


class PersonOut(Out):
    id = Id()
    username = serializers.CharField()
    name = serializers.CharField()
    email = serializers.CharField()
    roles = serializers.ListField(child=serializers.ChoiceField(ROLE))
    is_active = serializers.BooleanField()
    labour_class = serializers.CharField()
    cost_per_hour = Money(allow_null=True, help_text="Null for those who may not see costs.")
    version = Int()

    def to_representation(self, instance: Person) -> dict[str, Any]:
        shown = super().to_representation(instance)
        if "costs.read" not in self.context["rights"]:
            shown["cost_per_hour"] = None
        return shown


class PersonQuery(Query):
    name = serializers.CharField(max_length=80, required=False, help_text="Part of the name.")
    active = serializers.BooleanField(default=True)


class NewPassword(Body):
    password = serializers.CharField(min_length=10, max_length=1000, trim_whitespace=False)


class People(Resource):
    kind = "person"
    out = PersonOut

    @lists("people.read", query=PersonQuery, orders={"name": ("name", "id"), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.people(**query)

    @reads("people.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.person(pk)

    @posts("people.edit", body=PersonIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return staff.add_person(**body, by=request.user)

    @edits("people.edit", body=PersonEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return staff.edit_person(pk, expect, by=request.user, **body)

    @verb("people.edit", path="give-password", body=NewPassword)
    def give_password(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """A new password for someone who forgot theirs. It ends their sessions; they replace it at the next sign-in."""
        return staff.give_password(pk, body["password"], by=request.user)

    @verb("people.edit", path="sign-out")
    def sign_out(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """End every session and token of this person."""
        return staff.sign_out_everywhere(pk, by=request.user)


class TokenIn(Body):
    label = Text(max_length=80, help_text="What it is for.")  # type: ignore[assignment]
    expires_at = Moment(required=False, allow_null=True, help_text="A token made with a token ends no later than it.")


class TokenOut(Out):
    id = Id()
    label = serializers.CharField()  # type: ignore[assignment]
    prefix = serializers.CharField(help_text="Its first characters, to tell it from others.")
    created_at = Moment()
    expires_at = Moment(allow_null=True)
    revoked_at = Moment(allow_null=True)


class NewTokenOut(TokenOut):
    token = serializers.CharField(allow_null=True, help_text="The token itself; null when the posting is repeated.")


class Tokens(Resource):
    kind = "token"
    out = TokenOut

    @lists("own.edit", orders={"newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        """Your own tokens."""
        return queries.tokens_of(request.user)

    @reads("own.edit")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.token_of(request.user, pk)

    @posts("own.edit", body=TokenIn, out=NewTokenOut, shown_once=("token",))
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """Make a token for yourself. Its text is in this answer only."""
        made_with = request.auth if isinstance(request.auth, ApiToken) else None
        return own.make_token(**body, by=request.user, made_with=made_with)

    @verb("own.edit", path="revoke")
    def revoke(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """End one of your tokens at once."""
        return own.revoke_token(pk, by=request.user)


class TabletOut(Out):
    id = Id()
    label = serializers.CharField()  # type: ignore[assignment]
    enrolled_by_id = Id()
    enrolled_at = Moment()
    revoked_at = Moment(allow_null=True)


class Tablets(Resource):
    kind = "tablet"
    out = TabletOut

    @lists("tablet.enrol", orders={"newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        """Bench tablets. (They are enrolled on the device itself, by the page /tablets/.)"""
        return queries.tablets()

    @reads("tablet.enrol")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.tablet(pk)

    @verb("tablet.enrol", path="revoke")
    def revoke(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Trust the tablet no longer."""
        return tablets.revoke(pk, by=request.user)


def register(router: Any) -> None:
    router.register("me", Me, basename="me")
    router.register("people", People, basename="people")
    router.register("tokens", Tokens, basename="tokens")
    router.register("tablets", Tablets, basename="tablets")
