from __future__ import annotations

from typing import ClassVar

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower

from shop.kernel.rights import Role, rights_of


class PersonManager(BaseUserManager["Person"]):
    def get_by_natural_key(self, username: str | None) -> Person:
        return self.get(username=(username or "").lower())


class Person(AbstractBaseUser):
    """A member of staff. Never deleted: leaving ends `is_active`, sessions and tokens."""

    username = models.CharField(max_length=40, unique=True)  # lower case
    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    roles = models.JSONField(default=list)
    is_active = models.BooleanField(default=True)
    pin_hash = models.CharField(max_length=200, blank=True, editable=False)
    password_given = models.BooleanField(default=False, editable=False)  # by the owner: to be replaced at sign-in
    totp_secret = models.CharField(max_length=64, blank=True, editable=False)  # RFC 6238; blank: no second step
    totp_step = models.BigIntegerField(default=0, editable=False)  # the last time step that was used; never again
    labour_class = models.CharField(max_length=40, blank=True)
    cost_per_hour = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    session_epoch = models.PositiveIntegerField(default=1, editable=False)  # raised to end all sessions at once
    created_at = models.DateTimeField(auto_now_add=True)
    version = models.PositiveIntegerField(default=1)

    objects: ClassVar[PersonManager] = PersonManager()
    USERNAME_FIELD = "username"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        ordering = ("name", "id")
        constraints = (
            models.CheckConstraint(condition=models.Q(username=Lower("username")), name="people_username_lower"),
            models.CheckConstraint(
                condition=models.Q(cost_per_hour__isnull=True) | models.Q(cost_per_hour__gte=0),
                name="people_cost_not_negative",
            ),
        )

    by_pin = False  # set on the request's person when signed in by PIN

    def __str__(self) -> str:
        return self.name

    @property
    def initials(self) -> str:
        return "".join(word[0] for word in self.name.split()[:2]).upper()

    @property
    def rights(self) -> frozenset[str]:
        if not self.is_active:
            return frozenset()
        return rights_of(self.roles, by_pin=self.by_pin)

    def has_role(self, role: Role) -> bool:
        return role in self.roles

    def get_session_auth_hash(self) -> str:
        from django.utils.crypto import salted_hmac

        return salted_hmac("shop.people.session", f"{self.password}:{self.session_epoch}:{self.is_active}").hexdigest()


class ApiToken(models.Model):
    """A key to the API for one person. Shown once; only its SHA-256 is kept."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="tokens")
    label = models.CharField(max_length=80)
    prefix = models.CharField(max_length=12)
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-id",)


class RecoveryCode(models.Model):
    """Stands in for the authenticator once. Only its SHA-256 is kept (80 random bits)."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="recovery_codes")
    digest = models.CharField(max_length=64, unique=True)
    used_at = models.DateTimeField(null=True, blank=True)


class Tablet(models.Model):
    """A shared bench tablet that was signed in once; mechanics switch on it by PIN."""

    label = models.CharField(max_length=80)
    digest = models.CharField(max_length=64, unique=True)
    enrolled_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    enrolled_at = models.DateTimeField(auto_now_add=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-id",)


class Attempt(models.Model):
    """Tries at a password, PIN or code, counted per scope and hour (see `limits`)."""

    scope = models.CharField(max_length=120)  # "pin:tablet:person", "password:name@address", "address:..."
    window_start = models.DateTimeField()
    count = models.PositiveIntegerField(default=0)
    free_at = models.DateTimeField(null=True)  # no further try before

    class Meta:
        constraints = (models.UniqueConstraint(fields=("scope", "window_start"), name="people_attempt_window"),)
