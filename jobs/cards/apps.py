from django.apps import AppConfig


class CardsConfig(AppConfig):
    name = "jobs.cards"
    label = "jobs_cards"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.ui import panels

        from .panels import of_customer, of_machine

        panels.add("customer", "cards.read", of_customer)
        panels.add("machine", "cards.read", of_machine)
