"""What people do for themselves: password, PIN, tokens, second step. The page asks for the password once more first
(`signing.confirm`); the rights to it are `own.edit`."""

from __future__ import annotations

import base64
import secrets
from datetime import datetime

from django.contrib.auth.hashers import make_password
from django.db.models import F

from shop.kernel import clock
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.rights import Role
from shop.kernel.writing import writes
from shop.people import checks, tokens
from shop.people.models import ApiToken, Person, RecoveryCode
from shop.trail.record import record

from .signing import digest_of, matching_step

MOST_TOKENS = 50
RECOVERY_CODES = 10


@writes
def change_password(new: str, *, by: Person) -> Person:
    """A new password; every session of the person ends (the page keeps its own). Raises BadInput."""
    checks.password(new, by, "new_password")
    if by.check_password(new):
        raise field_error("new_password", "This is your present password. Choose another.")
    hashed = make_password(new)
    Person.objects.filter(pk=by.pk).update(
        password=hashed, password_given=False, session_epoch=F("session_epoch") + 1, version=F("version") + 1
    )
    record(by, "person.password-changed", by)
    by.refresh_from_db()
    return by


@writes
def set_pin(pin: str, *, by: Person) -> Person:
    """The PIN for shared bench tablets. Raises BadInput for a weak one."""
    hashed = make_password(checks.pin(pin))
    Person.objects.filter(pk=by.pk).update(pin_hash=hashed)
    record(by, "person.pin-set", by)
    by.refresh_from_db()
    return by


@writes
def remove_pin(*, by: Person) -> Person:
    """No switching in by PIN any more."""
    Person.objects.filter(pk=by.pk).update(pin_hash="")
    record(by, "person.pin-removed", by)
    by.refresh_from_db()
    return by


@writes
def make_token(
    label: str, *, by: Person, expires_at: datetime | None = None, made_with: ApiToken | None = None
) -> ApiToken:
    """A token for programs; its text is in `.token` of the answer, this once. A token made with another token ends no
    later than that one. Raises BadInput, Refused when the person has too many."""
    now = clock.now()
    if expires_at is not None and expires_at <= now:
        raise field_error("expires_at", "This moment has passed. Choose a later one, or none.")
    if made_with is not None and made_with.expires_at is not None:
        if expires_at is None:
            expires_at = made_with.expires_at
        if expires_at > made_with.expires_at:
            raise field_error("expires_at", "A token made with another token can't outlive it.")
    Person.objects.select_for_update().get(pk=by.pk)
    if ApiToken.objects.filter(person=by, revoked_at__isnull=True).count() >= MOST_TOKENS:
        raise Refused(f"You have {MOST_TOKENS} tokens. Revoke those that are no longer used.")
    text, prefix, digest = tokens.new_token()
    token = ApiToken.objects.create(person=by, label=label, prefix=prefix, digest=digest, expires_at=expires_at)
    record(by, "token.made", token, root=by, label=label, prefix=prefix)
    token.token = text  # type: ignore[attr-defined]
    return token


@writes
def revoke_token(pk: int, *, by: Person) -> ApiToken:
    """End a token of one's own at once; a repeat changes nothing. Raises NotFound."""
    token = ApiToken.objects.select_for_update().filter(pk=pk, person=by).first()
    if token is None:
        raise NotFound("You have no such token.")
    if token.revoked_at is None:
        token.revoked_at = clock.now()
        token.save(update_fields=["revoked_at"])
        record(by, "token.revoked", token, root=by, label=token.label, prefix=token.prefix)
    return token


@writes
def start_two_step(secret: str, code: str, *, by: Person) -> list[str]:
    """From now on a code of the authenticator is asked for after the password. `code` proves that it was set up; it
    counts as used. Answers the recovery codes, this once. Raises BadInput, Refused for who has no need of it."""
    if not by.has_role(Role.OWNER) and not by.has_role(Role.OFFICE):
        raise Refused("The second step is for owner and office.")
    step = matching_step(secret, code.replace(" ", ""))
    if step is None:
        raise field_error(
            "code", "This code doesn't fit. Check that the clock of your device is right, and try the next."
        )
    Person.objects.filter(pk=by.pk).update(totp_secret=secret, totp_step=step, session_epoch=F("session_epoch") + 1)
    record(by, "person.two-step-on", by)
    by.refresh_from_db()
    return new_recovery_codes(by=by)


@writes
def new_recovery_codes(*, by: Person) -> list[str]:
    """Ten fresh recovery codes in place of the old ones, answered this once."""
    if not by.totp_secret:
        raise Refused("Switch the second step on first.")
    RecoveryCode.objects.filter(person=by).delete()
    codes = [base64.b32encode(secrets.token_bytes(10)).decode() for _ in range(RECOVERY_CODES)]
    RecoveryCode.objects.bulk_create([RecoveryCode(person=by, digest=digest_of(code)) for code in codes])
    record(by, "person.recovery-codes-made", by)
    return ["-".join(code[i : i + 4] for i in range(0, 16, 4)) for code in codes]


@writes
def end_two_step(*, by: Person) -> Person:
    """The password alone is enough again."""
    Person.objects.filter(pk=by.pk).update(totp_secret="", session_epoch=F("session_epoch") + 1)
    RecoveryCode.objects.filter(person=by).delete()
    record(by, "person.two-step-off", by)
    by.refresh_from_db()
    return by
