"""What one's own page shows of the alerts."""

from __future__ import annotations

from django.http import HttpRequest
from django.template.loader import render_to_string

from shop.people.models import Person

from . import queries


def of_me(request: HttpRequest, person: Person) -> str:
    return render_to_string("jobs_alerts/me_panel.html", {"choice": queries.mail_choice(person)}, request)
