"""/api/v1/time-bookings/ and /attendances/; cards/ and stages/ with the verbs that see to the clocks."""

from __future__ import annotations

from typing import Any

from .attendance import Attendances
from .bookings import Bookings, Cards, Stages

__all__ = ["Cards", "Stages", "register"]


def register(router: Any) -> None:
    router.register("time-bookings", Bookings, basename="time-bookings")
    router.register("attendances", Attendances, basename="attendances")
