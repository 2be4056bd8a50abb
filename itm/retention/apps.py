from django.apps import AppConfig


class RetentionConfig(AppConfig):
    name = "itm.retention"
    label = "retention"
