"""What a check holds a property against, in words for whoever enters its value."""

from itm.records.models import ConcentrateCheck
from itm.registry.properties import PROPERTIES, bounds


def limits_beside(check: ConcentrateCheck, name: str) -> list[tuple[str, str]]:
    """Limit, and of what: for the entry of one property."""
    return [
        (
            bounds(one["lowest"], one["highest"], PROPERTIES[name]),
            ", ".join(filter(None, (one["title"], one["edition"], one["source"]))),
        )
        for one in check.criteria
        if one["property"] == name
    ]


def certificate_beside(check: ConcentrateCheck, name: str) -> str:
    """What the certificates in the tank give for it."""
    if name not in ("refractive_index", "density", "ph"):
        return ""
    told = [one[name] for one in check.basis.get("lots", ()) if one[name]]
    return f"certificate {', '.join(dict.fromkeys(told))}" if told else ""
