"""Signing in: password, second step, what a failure leaves behind."""

from __future__ import annotations

import hashlib
import secrets
from datetime import timedelta

import pyotp
from django.db import models

from shop.kernel import clock
from shop.kernel.errors import BadInput
from shop.kernel.writing import writes
from shop.people import limits
from shop.people.backends import ByName
from shop.people.models import Attempt, Person, RecoveryCode
from shop.trail.record import record

STEP = 30  # seconds, RFC 6238
WRONG = "This user name and password don't belong together. Check both; mind capital letters in the password."


def check_password(username: str, password: str, *, address: str, device: str = "") -> Person:
    """Who this is. Counts the try first. `device` names a browser that this person has signed in on before: it has a
    counter of its own, so that somebody guessing elsewhere can't keep the person out.

    Raises TooMany, BadInput (code "wrong-sign-in"). A second step may still be due (`Person.totp_secret`).
    """
    name = username.strip().lower().replace("\x00", "\ufffd")  # no database takes it; nor does it become another name
    place = device or limits.network(address)
    own = limits.PASSWORD.scope(limits.short(name), limits.short(place))
    everyone = limits.ADDRESS.scope(limits.short(limits.network(address)))
    limits.count(own, everyone)
    person = ByName().authenticate(None, username=name, password=password)
    if person is None:
        _failed("password", Person.objects.filter(username=name).first(), own[1], address)
        raise BadInput(WRONG, code="wrong-sign-in")
    limits.forgive(own, back=(everyone,))
    return person


def check_code(person: Person, code: str, *, address: str) -> None:
    """The second step: a code of the authenticator, not used before, or a recovery code (spent by this).

    Raises TooMany, BadInput (code "wrong-code").
    """
    scope = limits.CODE.scope(person.pk, limits.short(limits.network(address)))
    limits.count(scope)
    typed = code.replace(" ", "").replace("-", "").upper()
    if not (_take_step(person, typed) or _take_recovery(person, typed)):
        _failed("code", person, scope[1], address)
        raise BadInput("This code is wrong or was used before. Wait for the next one.", code="wrong-code")
    limits.forgive(scope)


def confirm(person: Person, password: str) -> None:
    """The person types the password once more before changing a key to their account. Raises TooMany, BadInput."""
    scope = limits.CONFIRM.scope(person.pk)
    limits.count(scope)
    if not person.check_password(password):
        _failed("password", person, scope[1], "")
        raise BadInput("This is not your present password.", code="wrong-sign-in")
    limits.forgive(scope)


@writes
def signed_in(person: Person, *, how: str, address: str) -> None:
    """Note who came in, and how: "password", "password and code", "pin"."""
    Person.objects.filter(pk=person.pk).update(last_login=clock.now())
    record(person, "person.signed-in", person, how=how, address=address)


def matching_step(secret: str, code: str) -> int | None:
    """The time step (of the last, this and the next 30 seconds) whose code this is."""
    now = clock.now()
    for shift in (0, -1, 1):
        moment = now + timedelta(seconds=shift * STEP)
        if secrets.compare_digest(pyotp.TOTP(secret).at(moment), code):
            return int(moment.timestamp()) // STEP
    return None


def digest_of(recovery: str) -> str:
    return hashlib.sha256(recovery.encode()).hexdigest()


@writes
def _take_step(person: Person, code: str) -> bool:
    if len(code) != 6 or not (code.isascii() and code.isdecimal()):
        return False
    step = matching_step(person.totp_secret, code) if person.totp_secret else None
    # one statement: of two people with the same code one comes in
    return step is not None and Person.objects.filter(pk=person.pk, totp_step__lt=step).update(totp_step=step) == 1


@writes
def _take_recovery(person: Person, code: str) -> bool:
    spent = RecoveryCode.objects.filter(person=person, digest=digest_of(code), used_at__isnull=True).update(
        used_at=clock.now()
    )
    if spent:
        record(person, "person.recovery-code-used", person)
    return spent == 1


@writes
def _failed(what: str, person: Person | None, scope: str, address: str) -> None:
    subject: models.Model | None = person or Attempt.objects.filter(scope=scope).order_by("-window_start").first()
    if subject is not None:
        record(None, "sign-in.failed", subject, what=what, address=address)
