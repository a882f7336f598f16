from django.apps import AppConfig


class DrawsConfig(AppConfig):
    name = "jobs.draws"
    label = "jobs_draws"
    default_auto_field = "django.db.models.BigAutoField"
