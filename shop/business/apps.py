from django.apps import AppConfig


class BusinessConfig(AppConfig):
    name = "shop.business"
    label = "shop_business"
    default_auto_field = "django.db.models.BigAutoField"
