from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "jobs.reports"
    label = "jobs_reports"
    default_auto_field = "django.db.models.BigAutoField"
