from django.apps import AppConfig
from django.utils.module_loading import autodiscover_modules


class ConfigConfig(AppConfig):
    name = "shop.config"
    label = "shop_config"

    def ready(self) -> None:
        autodiscover_modules("tasks")  # outbox handlers and chores of every room
        from django.conf import settings

        if settings.REDIS_URL:
            from . import celery  # noqa: F401 - makes it the current Celery app, for wake-ups
