"""Writes of people and organisations."""

from datetime import date

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import transaction

from itm.accounts.models import Membership, Organisation, User
from itm.core.errors import Refused
from itm.core.history import Author


@transaction.atomic
def add_person(
    *, by: Author, email: str, name: str, organisation: str, kind: str, role: str, password: str
) -> Membership:
    """A person and the membership to act under; organisation and person are made when new.

    May run twice. Raises Refused not_valid with a sentence for each fault.
    """
    home = Organisation.objects.filter(name=organisation, kind=kind).first()
    if home is None:
        home = Organisation(name=organisation, kind=kind)
        checked(home)
        home.save(by=by)
    user = User.objects.filter(email__iexact=email).first()
    if user is None:
        user = User(email=email, name=name)
        user.set_password(password)
        checked(user, password)
        user.save(by=by)
    there = Membership.objects.filter(user=user, organisation=home, ended_on=None).first()
    if there is not None:
        return there
    membership = Membership(user=user, organisation=home, role=role)
    checked(membership)
    membership.save(by=by)
    return membership


@transaction.atomic
def choose_measures(*, by: Author, user: User, measures: str) -> User:
    """In which units this person reads. May run twice. Raises Refused not_valid."""
    user.measures = measures
    checked(user)
    user.save(by=by, verb="chose units")
    return user


@transaction.atomic
def say_qualification(
    *, by: Author, user: User, qualification: str, licence_number: str,
    licence_expires_on: date | None,
) -> User:  # fmt: skip
    """What this person's signatures are filled in with. May run twice. Raises Refused not_valid."""
    user.qualification, user.licence_number = qualification.strip(), licence_number.strip()
    user.licence_expires_on = licence_expires_on
    checked(user)
    user.save(by=by, verb="said qualification")
    return user


def checked(row: Organisation | User | Membership, password: str | None = None) -> None:
    """What the database and the rules for passwords say, before anything is written."""
    try:
        row.full_clean()
    except ValidationError as error:
        place = next(iter(error.message_dict))
        place = "" if place == NON_FIELD_ERRORS else place
        raise Refused("not_valid", " ".join(error.messages), place) from error
    if password is not None and isinstance(row, User):
        require_good(password, row)


def require_good(password: str, user: User) -> None:
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise Refused("not_valid", " ".join(error.messages), "password") from error
