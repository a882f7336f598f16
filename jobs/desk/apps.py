from django.apps import AppConfig


class DeskConfig(AppConfig):
    name = "jobs.desk"
    label = "jobs_desk"
    default_auto_field = "django.db.models.BigAutoField"
