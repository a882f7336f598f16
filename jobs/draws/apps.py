from django.apps import AppConfig


class DrawsConfig(AppConfig):
    name = "jobs.draws"
    label = "jobs_draws"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from jobs.cards import wording

        from .wording import SENTENCES

        wording.SENTENCES.update(SENTENCES)
