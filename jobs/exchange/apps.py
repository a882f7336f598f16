from django.apps import AppConfig


class ExchangeConfig(AppConfig):
    name = "jobs.exchange"
    label = "jobs_exchange"
    default_auto_field = "django.db.models.BigAutoField"
