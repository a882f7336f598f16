from django.apps import AppConfig


class InvoicesConfig(AppConfig):
    name = "jobs.invoices"
    label = "jobs_invoices"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from jobs.cards import wording as history
        from shop.ui import panels

        from .panels import cores_of_card, of_card, of_customer, outcome_of_card
        from .wording import SENTENCES

        history.add(
            SENTENCES, readers={"invoice": "invoices.read", "payment": "invoices.read", "core.kept": "invoices.read"}
        )
        panels.add("card", "cards.read", cores_of_card)
        panels.add("card", "invoices.read", of_card)
        panels.add("card", "invoices.read", outcome_of_card)
        panels.add("customer", "invoices.read", of_customer)
