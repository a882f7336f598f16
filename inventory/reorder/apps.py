from django.apps import AppConfig


class ReorderConfig(AppConfig):
    name = "inventory.reorder"
    label = "inventory_reorder"
    default_auto_field = "django.db.models.BigAutoField"
