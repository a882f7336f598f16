from django.apps import AppConfig


class StockConfig(AppConfig):
    name = "inventory.stock"
    label = "inventory_stock"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from inventory.parts.costs import SOURCES
        from shop.ui import panels

        from .pages.shelf import of_part
        from .queries import last_costs

        panels.add("part", "stock.read", of_part)
        if last_costs not in SOURCES:
            SOURCES.append(last_costs)
