"""The guide for programs: it tells every operation, and its example runs as it stands."""

import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, make_server

import pytest
from django.contrib.staticfiles import finders
from django.core.wsgi import get_wsgi_application
from django.db import connections
from django.test import Client
from django.utils import timezone

from itm.accounts import tokens
from itm.api.docs import EXAMPLE, description
from itm.api.v1.many_days import take_many_days
from itm.intake.models import ManyDays
from itm.records.models import ProportioningTest

pytestmark = pytest.mark.django_db


class Quiet(WSGIRequestHandler):
    def log_message(self, *args: Any) -> None:
        pass


def working(serve: Any) -> Any:
    """And a worker that takes the days that were accepted, once they are."""

    def one(environ: Any, start: Any) -> Any:
        answer = serve(environ, start)
        for many in ManyDays.objects.filter(ended_at=None):
            take_many_days(many.pk)
        return answer

    return one


@pytest.fixture
def server(one_connection: None) -> Iterator[str]:
    """The program behind a real socket, inside the transaction of the test: while one thread asks,
    the other waits."""
    ours = connections["default"]
    ours.inc_thread_sharing()
    with make_server(
        "127.0.0.1", 0, working(get_wsgi_application()), handler_class=Quiet
    ) as serving:

        def serve() -> None:
            connections["default"] = ours
            serving.serve_forever(poll_interval=0.05)

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield f"http://127.0.0.1:{serving.server_port}/api/v1"
        finally:
            serving.shutdown()
            thread.join()
            ours.dec_thread_sharing()


def run(server: str, token: str, tag: str) -> subprocess.CompletedProcess[str]:
    """By a Python that sees none of our packages."""
    return subprocess.run(
        [sys.executable, "-I", "-S", str(EXAMPLE), server, tag],
        env={"PATH": os.environ["PATH"], "FOAM_ITM_TOKEN": token},
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


def test_example_hands_a_day_in(scene: Any, server: str) -> None:
    now = timezone.now()
    _, token = tokens.make(
        actor=scene.contractor, name="example", scopes=["read", "hand_in"],
        expires_on=now.date(), at=now,
    )  # fmt: skip
    done = run(server, token, scene.proportioner.tag)
    assert (done.returncode, done.stderr) == (0, "")
    # Read off the line of the example by hand: (1.33364 - 1.33300) / 0.0002 = 3.2 %.
    assert done.stdout.splitlines() == ["minimum 3.2 % in band", "design 3.2 % in band"]
    test = ProportioningTest.objects.get()
    assert (test.state, test.handed_in_by) == ("handed_in", scene.contractor.user)


def test_example_shows_a_refusal_place_by_place(scene: Any, server: str) -> None:
    now = timezone.now()
    _, token = tokens.make(
        actor=scene.contractor, name="example", scopes=["read"], expires_on=now.date(), at=now
    )
    done = run(server, token, scene.proportioner.tag)
    assert done.returncode == 1
    assert "It needs the scope “hand_in”" in done.stderr
    assert not ProportioningTest.objects.exists()


def test_guide_tells_every_operation_and_the_example(client: Client) -> None:
    said = client.get("/api/v1/docs/").content.decode()
    for methods in description()["paths"].values():
        for operation in methods.values():
            assert f'id="op-{operation["operationId"]}"' in said
            assert operation["summary"] in said
    assert "urlopen(request, timeout=60)" in said
    assert "http://testserver/api/v1/" in said


def test_pages_of_the_guide_hold_no_script_and_no_style_of_their_own(client: Client) -> None:
    for path in ("/api/v1/docs/", "/api/v1/docs/try/"):
        got = client.get(path)
        said = got.content.decode()
        assert "default-src 'self'" in got["Content-Security-Policy"]
        assert "<style" not in said
        assert "style=" not in said
        assert all(part.startswith(" src=") for part in said.split("<script")[1:])


def test_files_of_the_page_to_try_are_served_from_here() -> None:
    for name in ("swagger-ui.css", "swagger-ui-bundle.js"):
        assert finders.find(f"drf_spectacular_sidecar/swagger-ui-dist/{name}")
