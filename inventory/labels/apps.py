from django.apps import AppConfig


class LabelsConfig(AppConfig):
    name = "inventory.labels"
    label = "inventory_labels"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.ui import panels

        from .panels import of_row

        for place in ("part", "lot", "bin"):
            panels.add(place, "labels.print", of_row)
