"""Codes of a second step: of a device by RFC 6238, and of the paper for its loss."""

import hmac
from datetime import datetime

import pyotp

from itm.accounts.digests import digest_of
from itm.accounts.models import RecoveryCode, SecondFactor, User
from itm.accounts.told import tell

STEP = 30  # seconds, RFC 6238, 5.2
AROUND = (0, -1, 1)  # steps that a slow hand or clock may be off; one, as RFC 6238, 5.2, advises


def of(user: User | None) -> SecondFactor | None:
    """What counts: one that was confirmed."""
    return SecondFactor.objects.filter(user=user, confirmed_at__isnull=False).first()


def codes_left(row: SecondFactor) -> int:
    return row.codes.filter(used_at=None).count()


def fits(user: User, text: str, at: datetime) -> bool:
    """Whether this is a code of the device or of the paper. Each is taken once."""
    row, plain = of(user), plain_of(text)
    if row is None or not plain:
        return False
    if len(plain) == 6 and plain.isdigit():
        return is_of_device(row, plain, at)
    unused = RecoveryCode.objects.filter(factor=row, digest=digest_of(plain), used_at=None)
    if not unused.update(used_at=at):
        return False
    tell(user, "recovery_code_used")
    return True


def is_of_device(row: SecondFactor, code: str, at: datetime) -> bool:
    """What was read stands in the condition, so of two at one moment one gets in."""
    now, device = int(at.timestamp()) // STEP, pyotp.TOTP(row.secret)
    for step in (now + off for off in AROUND):
        if hmac.compare_digest(device.generate_otp(step), code):
            mine = SecondFactor.objects.filter(pk=row.pk, last_step__lt=step)
            return bool(mine.update(last_step=step))
    return False


def plain_of(text: str) -> str:
    """Codes are shown in groups and typed with what stands between them, or without."""
    return "".join(text.split()).replace("-", "").upper()
