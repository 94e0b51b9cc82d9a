"""The rules that a job is worked under: positions, checks and re-test matrix, as one document."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.check import Checkpoint, CheckSheet, CheckTemplate
from spinproof.model.errors import DocumentError, RecordError
from spinproof.model.noun import Name, Noun
from spinproof.model.part import PositionSet
from spinproof.model.retest import RetestMatrix, require_consistent


class ShopRules(Noun):
    """What a shop works by; a job keeps the revision that it was taken in under."""

    name: Name
    revision: Annotated[int, Field(ge=1)] = 1
    positions: PositionSet
    sheets: Annotated[tuple[CheckSheet, ...], Field(min_length=1, strict=False)]
    matrix: RetestMatrix

    def sheet(self, checkpoint: Checkpoint) -> CheckSheet | None:
        """Give the checks of a checkpoint, or None when it has none."""
        return next((sheet for sheet in self.sheets if sheet.checkpoint is checkpoint), None)

    def check(self, check_id: str) -> CheckTemplate:
        """Give one check by its id.

        Raises
        ------
        RecordError
            If there is no such check.
        """
        for sheet in self.sheets:
            for check in sheet.checks:
                if check.id == check_id:
                    return check
        ids = [check.id for sheet in self.sheets for check in sheet.checks]
        raise RecordError(
            f"there is no check {check_id}",
            where=f"shop rules {self.name}, revision {self.revision}",
            mend=f"Choose one of: {', '.join(ids)}.",
        )

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        try:
            require_consistent(self.positions, self.sheets, self.matrix)
        except DocumentError as error:
            raise ValueError(error.what) from error
        return self
