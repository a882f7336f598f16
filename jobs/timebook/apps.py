from django.apps import AppConfig


class TimebookConfig(AppConfig):
    name = "jobs.timebook"
    label = "jobs_timebook"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from jobs.cards import wording as history
        from shop.ui import panels

        from .panels import buttons_of_stage, of_stage
        from .wording import SENTENCES

        history.add(SENTENCES)
        panels.add("stage", "cards.read", of_stage)
        panels.add("stage-buttons", "cards.hold", buttons_of_stage)
