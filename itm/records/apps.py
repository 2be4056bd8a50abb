from django.apps import AppConfig


class RecordsConfig(AppConfig):
    name = "itm.records"
    label = "records"
