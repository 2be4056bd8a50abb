"""Recompute every chain and every evaluation: `manage.py verify_records`."""

from typing import Any

from django.core.management.base import BaseCommand

from itm.records.chain import how_many, verify
from itm.retention.verifying import verify_files


class Command(BaseCommand):
    help = (
        "Check hash, link, rows and recomputation of every sealed record and every stored file "
        "against its digest, and report all findings. Exit 1: a seal is broken, or a file is lost "
        "or altered. Exit 3: the same engine version computes something else. Records of another "
        "engine version and files let go by decision are listed and are no fault."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        findings = [*verify(), *verify_files()]
        for finding in findings:
            self.stdout.write(f"{finding.kind}: {finding.place}: {finding.sentence}")
        kinds = {finding.kind for finding in findings}
        self.stdout.write(f"{how_many()} sealed records looked at, {len(findings)} findings.")
        if kinds & {"broken", "lost", "altered"}:
            raise SystemExit(1)
        if "differs" in kinds:
            raise SystemExit(3)
