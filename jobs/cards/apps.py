from django.apps import AppConfig


class CardsConfig(AppConfig):
    name = "jobs.cards"
    label = "jobs_cards"
    default_auto_field = "django.db.models.BigAutoField"
