from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "jobs.accounts"
    label = "jobs_accounts"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from jobs.invoices import checking as invoices
        from shop.ui import panels

        from . import checking
        from .panels import of_customer

        invoices.MORE.append(checking.wrong)
        panels.add("customer", "invoices.read", of_customer)
