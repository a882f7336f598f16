"""Celery at scale: the same outbox and chores that the serving process does by itself on the embedded default.

A task here is only a reason to look: what there is to do stands in the database, so a lost message loses nothing.
"""

from __future__ import annotations

from celery import Celery
from django.conf import settings

from shop.trail import chores, outbox

SWEEP = 15.0  # seconds; so late at most is what a lost wake-up delivers

app = Celery("tallybench")
app.conf.update(
    broker_url=settings.REDIS_URL,
    broker_connection_retry_on_startup=True,
    # the web processes' thread gives up quickly and rests; see shop/trail/wake.py
    broker_transport_options={"visibility_timeout": 900, "socket_connect_timeout": 2, "socket_timeout": 5},
    task_publish_retry=False,
    task_ignore_result=True,
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    worker_prefetch_multiplier=1,
    worker_send_task_events=False,
    worker_hijack_root_logger=False,
    timezone=settings.TIME_ZONE,
    beat_schedule_filename=str(settings.DATA / "beat-schedule"),
    beat_sync_every=1,  # the file's age tells a health check whether beat is alive
    beat_max_loop_interval=15,
)
app.set_default()


@app.task(name="outbox.drain")
def drain() -> int:
    return outbox.drain()


@app.task(name="chores.run")
def run_chore(name: str) -> None:
    chores.run(name)


@app.on_after_finalize.connect
def plan(sender: Celery, **kwargs: object) -> None:
    """The beat schedule: the sweep, and every chore a room has registered."""
    sender.add_periodic_task(SWEEP, drain.s(), name="outbox.drain", expires=SWEEP)
    for each in chores.known():
        sender.add_periodic_task(each.every, run_chore.s(each.name), name=each.name, expires=each.every)
