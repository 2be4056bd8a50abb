"""docker-compose.yml: it parses, its commands exist, and it runs the same code and settings."""

import re
import shlex
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
import yaml
from celery import Celery
from celery.bin.celery import celery as celery_command
from django.core.management import get_commands, load_command_class
from gunicorn.app.wsgiapp import WSGIApplication

OURS = {"setup", "web", "worker", "beat"}


@pytest.fixture(scope="module")
def compose(root: Path) -> dict[str, Any]:
    return yaml.safe_load((root / "docker-compose.yml").read_text())


def words(compose: dict[str, Any], service: str) -> list[str]:
    return shlex.split(compose["services"][service]["command"])


def test_compose_has_the_processes_of_the_scaled_set_up(compose: dict[str, Any]) -> None:
    assert set(compose["services"]) == OURS | {"database", "broker"}


def test_our_processes_share_one_image_and_its_settings(compose: dict[str, Any]) -> None:
    services = [compose["services"][name] for name in OURS]
    assert {one["image"] for one in services} == {"foam-itm"}
    assert all(one["environment"] == services[0]["environment"] for one in services)
    assert [name for name in OURS if "build" in compose["services"][name]] == ["setup"]


def test_every_variable_of_compose_is_a_setting(root: Path, compose: dict[str, Any]) -> None:
    read = re.findall(r'env\.\w+\(\s*"(\w+)"', (root / "itm/settings.py").read_text())
    assert set(compose["services"]["web"]["environment"]) - set(read) == set()


def test_no_secret_stands_in_compose(root: Path) -> None:
    text = (root / "docker-compose.yml").read_text()
    for name in ("SECRET_KEY", "POSTGRES_PASSWORD"):
        assert re.findall(rf"{name}: (?!\$\{{\w+:\?)", text) == []
    assert "postgres://itm:${DATABASE_PASSWORD:?" in text


def test_volumes_that_are_used_are_declared(compose: dict[str, Any]) -> None:
    mounts = [v for one in compose["services"].values() for v in one.get("volumes", [])]
    assert {mount.split(":")[0] for mount in mounts} == set(compose["volumes"])


def test_services_wait_for_what_they_need(compose: dict[str, Any]) -> None:
    for name, service in compose["services"].items():
        for other, how in service.get("depends_on", {}).items():
            asked = compose["services"][other]
            if how["condition"] == "service_healthy":
                assert "healthcheck" in asked, f"{name} waits for {other}"
            else:
                assert (how["condition"], asked["restart"]) == (
                    "service_completed_successfully", "no",
                )  # fmt: skip


@pytest.mark.parametrize("service", ["web", "worker", "database", "broker"])
def test_long_running_services_say_when_they_are_well(
    compose: dict[str, Any], service: str
) -> None:
    assert compose["services"][service]["healthcheck"]["test"]


def test_web_command_is_what_gunicorn_takes(
    compose: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    command = words(compose, "web")
    monkeypatch.setattr("sys.argv", command)
    application = WSGIApplication("%(prog)s [OPTIONS] APP_MODULE")
    assert command[0] == "gunicorn"
    assert application.cfg.worker_class_str == "sync"
    assert callable(application.load())


@pytest.mark.parametrize("service", ["worker", "beat"])
def test_celery_commands_name_our_application_and_known_options(
    compose: dict[str, Any], service: str
) -> None:
    program, *rest = words(compose, service)
    assert program == "celery"
    assert (rest[0], rest[2]) == ("-A", service)
    found = [v for v in vars(import_module(rest[1])).values() if isinstance(v, Celery)]
    assert len(found) == 1
    known = {flag for p in celery_command.commands[service].params for flag in p.opts}
    assert {word for word in rest[3:] if word.startswith("--")} - known == set()


def test_setup_runs_commands_that_exist(compose: dict[str, Any]) -> None:
    shell, flag, line = words(compose, "setup")
    assert (shell, flag) == ("sh", "-c")
    steps = [shlex.split(step) for step in line.split("&&")]
    assert [step[:3] for step in steps] == [
        ["python", "manage.py", "migrate"],
        ["python", "manage.py", "collectstatic"],
    ]
    for step in steps:
        app = get_commands()[step[2]]
        parser = load_command_class(str(app), step[2]).create_parser("manage.py", step[2])
        parser.parse_args(step[3:])


def test_image_copies_everything_the_program_needs(root: Path, compose: dict[str, Any]) -> None:
    recipe = compose["services"]["setup"]["build"]["dockerfile_inline"]
    copied = re.findall(r"^COPY (\S+) ", recipe, re.MULTILINE)
    assert set(copied) == {
        "requirements.txt", "manage.py", "calc", "itm", "templates", "fixtures",
    }  # fmt: skip
    assert all((root / path).exists() for path in copied)
    assert "--require-hashes -r requirements.txt" in recipe
