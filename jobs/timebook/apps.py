from django.apps import AppConfig


class TimebookConfig(AppConfig):
    name = "jobs.timebook"
    label = "jobs_timebook"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from jobs.cards import wording as history

        from . import wording

        history.SENTENCES.update(wording.SENTENCES)
