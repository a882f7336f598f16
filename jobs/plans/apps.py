from django.apps import AppConfig


class PlansConfig(AppConfig):
    name = "jobs.plans"
    label = "jobs_plans"
    default_auto_field = "django.db.models.BigAutoField"
