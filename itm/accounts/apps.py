from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "itm.accounts"
    label = "accounts"
