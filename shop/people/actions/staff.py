"""What the owner does with staff accounts."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.contrib.auth.hashers import make_password
from django.db.models import F

from shop.kernel import clock
from shop.kernel.errors import Refused, field_error
from shop.kernel.rights import Role
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people import checks
from shop.people.models import ApiToken, Person, RecoveryCode
from shop.trail.record import changes, record


@writes
def add_person(
    *, username: str, name: str, roles: Iterable[str], password: str, email: str = "", labour_class: str = "",
    cost_per_hour: Decimal | None = None, password_given: bool = True, by: Person | None,
) -> Person:  # fmt: skip
    """A new member of staff. `password_given`: to be replaced at the first sign-in. Raises BadInput."""
    person = Person(
        username=checks.username(username), name=name, email=email, roles=checks.roles(roles),
        labour_class=labour_class, cost_per_hour=checks.cost(cost_per_hour), password_given=password_given,
    )  # fmt: skip
    _refuse_taken(person.username)
    checks.password(password, person)
    person.set_password(password)
    person.save(force_insert=True)
    record(by, "person.added", person, username=person.username, name=name, roles=person.roles)
    return person


@writes
def edit_person(pk: int, expect: int | None, *, by: Person | None, **values: Any) -> Person:
    """Change name, user name, mail, roles, labour class, cost of an hour, or whether the person works here. Leaving ends
    every session and token at once. Raises NotFound, Stale, BadInput, Refused when nobody would be owner."""
    everyone = list(Person.objects.select_for_update().order_by("pk"))  # of two owners only one can step down
    person = claim(Person, pk, expect)
    if "username" in values:
        values["username"] = checks.username(values["username"])
        _refuse_taken(values["username"], but=pk)
    if "roles" in values:
        values["roles"] = checks.roles(values["roles"])
    if "cost_per_hour" in values:
        values["cost_per_hour"] = checks.cost(values["cost_per_hour"])
    stays_owner = values.get("is_active", person.is_active) and Role.OWNER in values.get("roles", person.roles)
    others = any(p.is_active and Role.OWNER in p.roles for p in everyone if p.pk != pk)
    if person.is_active and Role.OWNER in person.roles and not stays_owner and not others:
        raise Refused("This is the last owner. Make somebody else owner first.", code="last-owner")
    before = {name: getattr(person, name) for name in values}
    if person.is_active and values.get("is_active") is False:
        _end_keys(person)
        values["session_epoch"] = person.session_epoch + 1
        before["session_epoch"] = values["session_epoch"]
    save_next(person, **values)
    record(by, "person.changed", person, changed=_shown(changes(before, values)))
    return person


@writes
def give_password(pk: int, password: str, *, by: Person | None) -> Person:
    """A new password for someone who forgot theirs; it ends their sessions and they replace it at the next sign-in.
    Raises NotFound, BadInput."""
    person = claim(Person, pk, None)
    checks.password(password, person)
    save_next(
        person, password=make_password(password), password_given=by is None or by.pk != pk,
        session_epoch=person.session_epoch + 1,
    )  # fmt: skip
    record(by, "person.password-given", person)
    return person


@writes
def switch_off_two_step(pk: int, *, by: Person | None) -> Person:
    """For someone who lost authenticator and recovery codes. Raises NotFound, Refused when there is none."""
    person = claim(Person, pk, None)
    if not person.totp_secret:
        raise Refused(f"{person.name} has no second step.")
    save_next(person, totp_secret="", session_epoch=person.session_epoch + 1)
    RecoveryCode.objects.filter(person=person).delete()
    record(by, "person.two-step-off", person)
    return person


@writes
def sign_out_everywhere(pk: int, *, by: Person | None) -> Person:
    """End every session and token of a person at once (a lost phone, a doubt). Raises NotFound."""
    person = claim(Person, pk, None)
    _end_keys(person)
    Person.objects.filter(pk=pk).update(session_epoch=F("session_epoch") + 1)
    record(by, "person.signed-out-everywhere", person)
    person.refresh_from_db()
    return person


def _end_keys(person: Person) -> None:
    ApiToken.objects.filter(person=person, revoked_at__isnull=True).update(revoked_at=clock.now())


def _refuse_taken(username: str, *, but: int | None = None) -> None:
    if Person.objects.filter(username=username).exclude(pk=but).exists():
        raise field_error("username", f"“{username}” is taken. Add an initial or a number.")


def _shown(changed: dict[str, list[Any]]) -> dict[str, list[Any]]:
    """What an hour of somebody costs is not for everyone who may read a history."""
    return {k: ["…", "…"] if k == "cost_per_hour" else v for k, v in changed.items()}
