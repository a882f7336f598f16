from django.apps import AppConfig


class AlertsConfig(AppConfig):
    name = "jobs.alerts"
    label = "jobs_alerts"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.people import words
        from shop.ui import context, panels

        from .panels import of_me
        from .queries import waiting_for

        words.SAID["person.alert-mail"] = "Mail of the day's alerts"
        context.COUNTS["alerts:list"] = waiting_for
        panels.add("me", "own.edit", of_me)
