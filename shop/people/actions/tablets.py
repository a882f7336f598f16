"""The shared bench tablet: enrolled once by owner or office, switched by PIN."""

from __future__ import annotations

from django.contrib.auth.hashers import check_password, make_password

from shop.kernel import clock
from shop.kernel.errors import BadInput, NotFound
from shop.kernel.rights import Role
from shop.kernel.writing import writes
from shop.people import limits
from shop.people.models import Person, Tablet
from shop.trail.record import record

AT_THE_BENCH = frozenset({Role.MECHANIC, Role.STORES})


@writes
def enrol(*, label: str, digest: str, by: Person) -> Tablet:
    """Trust a device: `digest` is the SHA-256 of the secret that its cookie holds."""
    tablet = Tablet.objects.create(label=label, digest=digest, enrolled_by=by)
    record(by, "tablet.enrolled", tablet, label=label)
    return tablet


@writes
def revoke(pk: int, *, by: Person) -> Tablet:
    """Trust it no longer: who is switched in on it is out at the next press. A repeat changes nothing. Raises
    NotFound."""
    tablet = Tablet.objects.select_for_update().filter(pk=pk).first()
    if tablet is None:
        raise NotFound("There is no such tablet.")
    if tablet.revoked_at is None:
        tablet.revoked_at = clock.now()
        tablet.save(update_fields=["revoked_at"])
        record(by, "tablet.revoked", tablet, label=tablet.label)
    return tablet


def check_pin(tablet: Tablet, person_id: int, pin: str) -> Person:
    """Who switches in. Counts the try first, per person on this tablet and for the tablet as a whole. Raises TooMany,
    BadInput (code "wrong-pin"), NotFound for someone who can't switch in here."""
    person = Person.objects.filter(pk=person_id, is_active=True).first()
    if person is None or not AT_THE_BENCH & set(person.roles):
        raise NotFound("This person does not switch in on a tablet.")
    one, whole = limits.PIN.scope(tablet.pk, person.pk), limits.TABLET.scope(tablet.pk)
    limits.count(one, whole)
    if person.pin_hash:
        right = check_password(pin, person.pin_hash)
    else:
        make_password(pin)  # takes as long: nobody learns who has no PIN
        right = False
    if not right:
        _refused(tablet, person)
        raise BadInput("That PIN is wrong. Try again, or ask the owner for help.", code="wrong-pin")
    limits.forgive(one, back=(whole,))
    return person


@writes
def _refused(tablet: Tablet, person: Person) -> None:
    record(None, "sign-in.failed", person, what="pin", tablet=tablet.label)
