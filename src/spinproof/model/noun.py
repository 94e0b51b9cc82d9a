"""The base of every noun that is read from a file or written to one."""

from typing import Annotated, Any, Self

from pydantic import BaseModel, ConfigDict, Field, StringConstraints


class Noun(BaseModel):
    """A frozen value with a strict schema: unknown keys, NaN and wrong types are refused."""

    model_config = ConfigDict(
        frozen=True, strict=True, extra="forbid", allow_inf_nan=False, use_attribute_docstrings=True
    )

    def to_document(self) -> dict[str, Any]:
        """Give the value as plain JSON types, fit for canonical JSON."""
        return self.model_dump(mode="json")

    @classmethod
    def from_document(cls, document: object) -> Self:
        """Read the value back from plain JSON types; raises pydantic's ValidationError."""
        return cls.model_validate(document, strict=False)


Name = Annotated[str, StringConstraints(min_length=1, max_length=80, strip_whitespace=True)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
