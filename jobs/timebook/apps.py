from django.apps import AppConfig


class TimebookConfig(AppConfig):
    name = "jobs.timebook"
    label = "jobs_timebook"
    default_auto_field = "django.db.models.BigAutoField"
