from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "jobs.accounts"
    label = "jobs_accounts"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.ui import panels

        from .panels import of_customer

        panels.add("customer", "invoices.read", of_customer)
