"""The main job through the processes of the scaled-out set-up: web workers, Celery worker and beat, PostgreSQL, Redis."""

from __future__ import annotations

from email import message_from_string
from email.policy import default

import pytest

from tests.factories.main_job import Clients, done, items, made, set_up_shop, take_through
from tests.factories.processes import Shop

pytestmark = [pytest.mark.postgres, pytest.mark.redis]
WAITING = "SELECT count(*) FROM shop_trail_outboxrow WHERE done_at IS NULL"


def mailed(shop: Shop) -> list[tuple[str, str]]:
    """Receiver and attached file of every mail that went out."""
    mails = [message_from_string(text, policy=default) for text in shop.mails()]
    return sorted((str(m["To"]), part.get_filename()) for m in mails for part in m.iter_attachments())


def test_the_main_job_at_scale(template, broker):
    with Shop.copy_of(template, redis=broker) as shop:
        shop.serve(workers=3)
        by = Clients(
            owner=shop.client("maren"), office=shop.client("pim"), mechanic=shop.client("jory"),
            stores=shop.client("tamsin"),
        )  # fmt: skip
        set_up_shop(by)
        left = take_through(by)
        to, papers = left["customer"]["email"], [f"{left[kind]['number']}.pdf" for kind in ("estimate", "invoice")]

        # the web workers leave delivering to the Celery worker; beat's sweep finds what was queued before it came
        assert mailed(shop) == []
        assert shop.sql(WAITING)[0][0] >= 2
        shop.worker()
        shop.beat()
        shop.until_sql(WAITING, 0)
        assert mailed(shop) == sorted((to, paper) for paper in papers)
        assert "succeeded" in shop.log("worker")

        # with all of them up, a document is mailed as soon as it is issued
        again = made(by.office, "cards/", machine_id=left["card"]["machine_id"], complaint="Now the pump leaks.")
        made(by.office, "stages/", card_id=again["id"], name="Renew the seal", kind="fit", standard_hours="1")
        second = made(by.office, "estimates/", card_id=again["id"])
        second = done(by.office, f"estimates/{second['id']}/issue/")
        shop.until_sql(WAITING, 0, seconds=30)
        assert (to, f"{second['number']}.pdf") in mailed(shop)
        assert len(items(by.office, "estimates/")) == 2
        assert shop.manage("prove").returncode == 0
