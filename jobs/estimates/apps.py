from django.apps import AppConfig


class EstimatesConfig(AppConfig):
    name = "jobs.estimates"
    label = "jobs_estimates"
    default_auto_field = "django.db.models.BigAutoField"
