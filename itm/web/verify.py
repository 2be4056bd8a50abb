"""Check a paper report against the seal. Public: whoever holds the paper may ask."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path
from django.views.decorators.http import require_GET

from itm.core.errors import Refused
from itm.reports.address import OPENS
from itm.reports.content_kept import grouped
from itm.reports.proof import DIGEST, proof, typed_digest
from itm.web.guard import unlisted


@unlisted
@require_GET
def verify_form(request: HttpRequest) -> HttpResponse:
    """Where a digest is typed by hand, when the QR code cannot be read."""
    if "digest" not in request.GET:
        return render(request, "verify/form.html", {})
    typed = request.GET["digest"]
    try:
        digest, key = typed_digest(typed)
    except Refused as refusal:
        context = {"typed": typed[:500], "error": refusal.sentence}
        return render(request, "verify/form.html", context, status=422)
    return redirect("verify_opened", digest, key) if key else redirect("verify", digest)


@unlisted
@require_GET
def verify(request: HttpRequest, digest: str, key: str = "") -> HttpResponse:
    """What is known of this digest; with what opens it also what its record says."""
    if digest.lower() != digest or key.lower() != key:
        asked = [part.lower() for part in (digest, key) if part]
        return redirect("verify_opened" if key else "verify", *asked)
    found = proof(digest, key) if DIGEST.fullmatch(digest) else None
    if found is None:
        unknown = {"digest": digest[:100], "printed": grouped(digest[:100])}
        return render(request, "verify/unknown.html", unknown, status=404)
    typed = f"{found.printed} {key}".strip()
    context = {"proof": found, "key": key, "typed": typed, "opens": OPENS}
    return render(request, "verify/record.html", context)


urls: list[URLPattern] = [
    path("verify/", verify_form, name="verify_form"),
    path("verify/<str:digest>/", verify, name="verify"),
    path("verify/<str:digest>/<str:key>/", verify, name="verify_opened"),
]
