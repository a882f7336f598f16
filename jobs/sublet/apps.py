from django.apps import AppConfig


class SubletConfig(AppConfig):
    name = "jobs.sublet"
    label = "jobs_sublet"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from inventory.buying.charged import REFUSING
        from jobs.cards import wording as history
        from shop.ui import panels

        from .panels import of_card, of_stage, of_supplier
        from .queries import refuse_recorded
        from .wording import SENTENCES

        history.add(SENTENCES)
        if refuse_recorded not in REFUSING:
            REFUSING.append(refuse_recorded)
        panels.add("card", "costs.read", of_card)
        panels.add("stage", "costs.read", of_stage)
        panels.add("supplier", "costs.read", of_supplier)
