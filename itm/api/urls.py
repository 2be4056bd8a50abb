from django.urls import URLPattern, URLResolver, include, path, re_path
from django.views.decorators.csrf import csrf_exempt

from itm.api import docs
from itm.api.problems import not_found

urlpatterns: list[URLPattern | URLResolver] = [
    *docs.urls,
    path("v1/", include("itm.api.v1.urls")),
    # Found here, so that nobody is led from an address without its slash to another one.
    re_path("", csrf_exempt(not_found), name="api_nothing"),
]
