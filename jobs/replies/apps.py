from django.apps import AppConfig


class RepliesConfig(AppConfig):
    name = "jobs.replies"
    label = "jobs_replies"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from jobs.cards import wording as history
        from shop.ui import panels

        from .panels import buttons_of_estimate, of_estimate
        from .wording import SENTENCES

        history.add(SENTENCES, readers={"link": "customers.read"})
        panels.add("estimate", "estimates.read", of_estimate)
        panels.add("estimate-buttons", "goahead.record", buttons_of_estimate)
