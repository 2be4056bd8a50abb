from django.apps import AppConfig


class ArchivesConfig(AppConfig):
    name = "itm.archives"
    label = "archives"
