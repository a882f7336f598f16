from django.apps import AppConfig


class LearningConfig(AppConfig):
    name = "jobs.learning"
    label = "jobs_learning"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from jobs.cards import wording as history
        from jobs.cards.actions.cards import PLAN_BRINGS
        from shop.ui import panels

        from .actions import keep_what_the_plan_said
        from .panels import of_card, of_plan
        from .wording import SENTENCES

        history.add(SENTENCES)
        PLAN_BRINGS.append(keep_what_the_plan_said)
        panels.add("plan", "plans.read", of_plan)
        panels.add("card", "time.read", of_card)
