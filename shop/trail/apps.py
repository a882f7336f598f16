from django.apps import AppConfig


class TrailConfig(AppConfig):
    name = "shop.trail"
    label = "shop_trail"
    default_auto_field = "django.db.models.BigAutoField"
