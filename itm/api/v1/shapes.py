"""What several shapes share. A shape says how a row is told, and nothing else."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from itm.registry.contents import bare


class Ref(serializers.Serializer):
    """Another thing, by its key, with its name to read."""

    key = serializers.UUIDField()
    name = serializers.CharField(source="__str__")


class TypedShape(serializers.Serializer):
    typed = serializers.CharField(help_text="As a person typed it, with its unit.")
    si = serializers.FloatField(help_text="The same in coherent SI: m³/s, m³, Pa.")


class Figure(serializers.CharField):
    """A decimal with the digits it has, as text: JSON's numbers would lose some."""

    def to_representation(self, value: Any) -> str:
        return bare(value)


@extend_schema_field(TypedShape)
class Quantity(serializers.Field):
    """A column in SI beside the column of what was typed."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(source="*", read_only=True, **kwargs)

    def to_representation(self, row: Any) -> dict[str, Any] | None:
        value = getattr(row, str(self.field_name))
        if value is None:
            return None
        return {"typed": getattr(row, f"{self.field_name}_typed"), "si": value}


def choice(choices: Any, **kwargs: Any) -> serializers.ChoiceField:
    return serializers.ChoiceField(choices=choices, **kwargs)
