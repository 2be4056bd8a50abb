"""What a stranger with a digest may learn: whether the paper is the record's, and no more than
the paper shows."""

import re
from dataclasses import dataclass
from hmac import compare_digest
from typing import Any

from calc.canonical import digest_bytes
from itm.core.errors import Refused
from itm.records.chain import parsed
from itm.records.document_check import KIND as CHECK
from itm.records.models import Seal
from itm.reports import content_check as check
from itm.reports import content_results as results
from itm.reports import queries
from itm.reports.address import OPENS, check_path, opens
from itm.reports.content_kept import grouped
from itm.reports.wording import Fact, SiteClock, facts, iso_day

LENGTH = 64
DIGEST = re.compile(rf"[0-9a-f]{{{LENGTH}}}")
KEY = re.compile(rf"[0-9a-f]{{{OPENS}}}")
MISREAD = {"o": "0", "l": "1", "i": "1", "s": "5", "z": "2", "g": "9", "q": "9"}


@dataclass(frozen=True)
class Later:
    """The sealed record that corrects this one."""

    number: int
    printed: str
    sealed_at: str
    path: str  # where it stands open: whoever holds the one may read the other


@dataclass(frozen=True)
class Earlier:
    """The sealed record that this one corrects."""

    number: int
    path: str


@dataclass(frozen=True)
class Proof:
    """A sealed record as the check page shows it. With changed bytes there is nothing to show, and
    while it is not `opened` nothing of what it says."""

    number: int
    digest: str
    printed: str  # the digest in groups, as the paper has it
    unchanged: bool
    opened: bool = False
    sealed_at: str = ""
    facts: tuple[Fact, ...] = ()
    band: str = ""
    answers: tuple[results.Answer, ...] = ()
    limits: str = ""  # of a concentrate check, in a sentence
    strengths: tuple[check.Strength, ...] = ()
    layers: tuple[str, ...] = ()
    later: Later | None = None
    earlier: Earlier | None = None


def proof(digest: str, key: str = "") -> Proof | None:
    """The record with this digest, its stored bytes digested anew; None when there is none. `key`
    is what opens it, as `address.opens` has it."""
    seal = Seal.objects.filter(digest=digest).first()
    if seal is None:
        return None
    if digest_bytes(bytes(seal.document)) != digest:
        return Proof(seal.number, digest, grouped(digest), unchanged=False)
    return _shown(seal, compare_digest(key, opens(bytes(seal.document))))


def _shown(seal: Seal, opened: bool) -> Proof:
    document = parsed(seal)
    about = _of_check if document["kind"] == CHECK else _of_test
    return Proof(
        number=document["seal"]["number"],
        digest=seal.digest,
        printed=grouped(seal.digest),
        unchanged=True,
        opened=opened,
        sealed_at=SiteClock.of(document).moment(document["seal"]["sealed_at"]),
        **(about(document) if opened else {}),
        later=_later(seal),
        earlier=_earlier(document) if opened else None,
    )


def _earlier(document: dict[str, Any]) -> Earlier | None:
    amended = document["amends"]
    seal = Seal.objects.filter(digest=amended["digest"]).first() if amended else None
    return Earlier(seal.number, check_path(seal)) if seal else None


def _of_test(document: dict[str, Any]) -> dict[str, Any]:
    test = document["test"]
    return {
        "facts": facts(
            ("Site", document["site"]["name"]),
            ("System", document["system"]["name"]),
            ("Proportioner", document["proportioner"]["tag"]),
            ("Tested on", f"{iso_day(test['tested_on'])}: {test['purpose']}, {test['phase']}"),
            ("Contractor", document["visit"]["contractor"]),
            *_signed(document),
        ),
        "band": results.band_words(document),
        "answers": results.answers(document),
    }


def _of_check(document: dict[str, Any]) -> dict[str, Any]:
    done = document["check"]
    return {
        "facts": facts(
            ("Site", document["site"]["name"]),
            ("Concentrate tank", document["tank"]["tag"]),
            ("Sampled on", f"{iso_day(done['checked_on'])}: {done['purpose']}"),
            ("Checked by", document["checked_by"]),
            *_signed(document),
        ),
        "limits": check.limits_words(document),
        "strengths": check.strengths(document),
        "layers": check.layers(document),
    }


def _signed(document: dict[str, Any]) -> list[tuple[str, str]]:
    sealed = document["seal"]
    names = (sealed["signer"], sealed["qualification"], sealed["number_of_licence"])
    at = SiteClock.of(document).moment(sealed["sealed_at"])
    return [("Signed by", ", ".join(filter(None, names))), ("Sealed", at)]


def _later(seal: Seal) -> Later | None:
    """The newest correction: a correction may have been corrected itself."""
    newest = queries.corrected_by(seal)
    while newest is not None and (next_one := queries.corrected_by(newest)) is not None:
        newest = next_one
    if newest is None:
        return None
    clock = SiteClock.of(parsed(newest))
    sealed_at = clock.moment(parsed(newest)["seal"]["sealed_at"])
    return Later(newest.number, grouped(newest.digest), sealed_at, check_path(newest))


def typed_digest(text: str) -> tuple[str, str]:
    """The digest in what a person typed or pasted, and what opens its record, or nothing: spaces
    and capitals do not matter, and a whole address may stand around them.

    Raises Refused digest_missing, digest_wrong_character, digest_wrong_length.
    """
    bare = re.sub(r"[\s\u00ad\u200b\u2009\u202f:·–-]", "", text).lower()
    if not bare:
        raise Refused("digest_missing", "Type the digest that the report prints.", "digest")
    if found := DIGEST.search(bare):
        key = KEY.match(bare[found.end() :].lstrip("/"))
        return found[0], key[0] if key else ""
    odd = re.search(r"[^0-9a-f]", bare)
    if odd and len(bare) <= LENGTH + 4:
        meant = MISREAD.get(odd[0])
        hint = f"; it may be a {meant}" if meant else ""
        raise Refused(
            "digest_wrong_character",
            f"Character {odd.start() + 1} is “{odd[0]}”{hint}. A digest has only the digits 0 to 9 "
            "and the letters a to f.",
            "digest",
        )
    raise Refused(
        "digest_wrong_length",
        f"These are {len(bare)} characters; a digest has {LENGTH}, printed in eight groups of "
        "eight.",
        "digest",
    )
