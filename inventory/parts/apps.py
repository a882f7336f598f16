from django.apps import AppConfig


class PartsConfig(AppConfig):
    name = "inventory.parts"
    label = "inventory_parts"
    default_auto_field = "django.db.models.BigAutoField"
