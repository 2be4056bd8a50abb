from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "itm.reports"
    label = "reports"
