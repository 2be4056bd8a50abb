from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [path("", include("itm.web.urls"))]

handler403 = "itm.web.errors.forbidden"
handler404 = "itm.web.errors.not_found"
handler500 = "itm.web.errors.server_error"
