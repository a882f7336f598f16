from django.apps import AppConfig
from django.conf import settings


class DocumentsConfig(AppConfig):
    name = "shop.documents"
    label = "shop_documents"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.documents.printable import use_fonts

        use_fonts(settings.DOCUMENT_FONT_DIRS)
