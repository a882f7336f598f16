from django.apps import AppConfig


class EstimatesConfig(AppConfig):
    name = "jobs.estimates"
    label = "jobs_estimates"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from jobs.cards import wording as history
        from shop.ui import panels

        from .panels import of_card
        from .wording import SENTENCES, WORDS

        history.add(SENTENCES, readers={"estimate": "estimates.read"}, words=WORDS)
        panels.add("card", "estimates.read", of_card)
