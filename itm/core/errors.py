"""What can go wrong on purpose. Each has a stable code; the page or the API words the answer."""


class ItmError(Exception):
    """Base of the refusals that a person can read."""

    code = "error"

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


class Refused(ItmError):
    """A rule says no. `code` is stable, `place` names the field or line where it can be mended."""

    def __init__(self, code: str, sentence: str, place: str = "") -> None:
        super().__init__(sentence)
        self.code = code
        self.place = place


class TooMany(Refused):
    """Asked too often; `seconds` until it goes on."""

    def __init__(self, code: str, sentence: str, seconds: int) -> None:
        super().__init__(code, sentence)
        self.seconds = seconds


class Forbidden(ItmError):
    """The object is the actor's to see, but the role has no right to this verb."""

    code = "forbidden"


class NotFound(ItmError):
    """No such object, or not the actor's to see: a stranger learns no difference."""

    code = "not_found"

    def __init__(self, what: str, key: object) -> None:
        super().__init__(f"There is no {what} with this address, or it is not yours to see.")
        self.what = what
        self.key = key


class Gone(ItmError):
    """What was here is not here any more; the sentence says why and what is left."""

    code = "gone"


class Conflict(ItmError):
    """Somebody else was faster; the sentence says what stands now."""

    code = "conflict"
