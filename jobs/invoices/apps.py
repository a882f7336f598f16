from django.apps import AppConfig


class InvoicesConfig(AppConfig):
    name = "jobs.invoices"
    label = "jobs_invoices"
    default_auto_field = "django.db.models.BigAutoField"
