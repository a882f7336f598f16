from django.apps import AppConfig


class DrawsConfig(AppConfig):
    name = "jobs.draws"
    label = "jobs_draws"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from inventory.buying import arrivals
        from inventory.reorder.known import KNOWN_DEMAND
        from jobs.cards import wording
        from jobs.cards.actions.cards import PLAN_BRINGS
        from jobs.cards.actions.ending import WORK_ENDS
        from shop.ui import panels

        from .actions import add_needs_of_plan, clear_emptied, hold_their_cards, keep_what_came, let_go_for
        from .panels import of_lot, of_machine, of_stage
        from .queries import known_demand
        from .wording import SENTENCES

        wording.add(SENTENCES)
        PLAN_BRINGS.append(add_needs_of_plan)
        WORK_ENDS.extend((let_go_for, clear_emptied))
        arrivals.listen(keep_what_came, ahead=hold_their_cards)
        KNOWN_DEMAND.append(known_demand)
        panels.add("stage", "draws.read", of_stage)
        panels.add("lot", "draws.read", of_lot)
        panels.add("machine", "draws.read", of_machine)
