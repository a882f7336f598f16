from django.apps import AppConfig


class DocumentsConfig(AppConfig):
    name = "shop.documents"
    label = "shop_documents"
    default_auto_field = "django.db.models.BigAutoField"
