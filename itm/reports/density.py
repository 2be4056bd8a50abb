"""The density of a concentrate as a report prints it, of a bench and of a direct test alike."""

NOBODY_SAYS = "1 % of it, as nobody says"


def density_words(density: str, *, at: str, error: str, source: str, otherwise: str = "") -> str:
    """As typed; `otherwise` is what is taken where nobody says what it may be off by."""
    off = error or otherwise
    return "".join(
        (
            density,
            f" at {at}" if at else "",
            f", either way by {off}" if off else "",
            f", from {source}" if source else "",
        )
    )
