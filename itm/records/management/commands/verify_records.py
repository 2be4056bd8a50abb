"""Recompute every chain and every evaluation: `manage.py verify_records`."""

from typing import Any

from django.core.management.base import BaseCommand

from itm.records.chain import verify
from itm.records.models import Seal


class Command(BaseCommand):
    help = (
        "Check hash, link, rows and recomputation of every sealed record and report all findings. "
        "Exit 1: a seal is broken. Exit 3: the same engine version computes something else. "
        "Records of another engine version are listed and are no fault."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        findings = list(verify())
        for finding in findings:
            self.stdout.write(f"{finding.kind}: {finding.place}: {finding.sentence}")
        kinds = {finding.kind for finding in findings}
        self.stdout.write(
            f"{Seal.objects.count()} sealed records looked at, {len(findings)} findings."
        )
        if "broken" in kinds:
            raise SystemExit(1)
        if "differs" in kinds:
            raise SystemExit(3)
