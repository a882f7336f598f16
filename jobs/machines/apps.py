from django.apps import AppConfig


class MachinesConfig(AppConfig):
    name = "jobs.machines"
    label = "jobs_machines"
    default_auto_field = "django.db.models.BigAutoField"
