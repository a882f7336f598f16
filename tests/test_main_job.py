"""The main job, end to end, over the API."""

import pytest
from django.core.management import call_command

from jobs.cards.models import JobCard
from shop.business.queries import default_site
from tests.factories.main_job import Clients, set_up_shop, take_through

pytestmark = pytest.mark.django_db


def test_a_machine_comes_in_and_goes_out_paid(api, owner, office, mechanic, stores):
    default_site()
    by = Clients(owner=api(owner), office=api(office), mechanic=api(mechanic), stores=api(stores))
    set_up_shop(by)
    left = take_through(by)
    call_command("check_ledger")
    call_command("check_invoices")
    assert JobCard.objects.get(pk=left["card"]["id"]).handed_over_at
