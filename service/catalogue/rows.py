"""What one row of a mappings file holds: its columns, its key, its checked cells."""

from typing import ClassVar

from pydantic import BaseModel, ConfigDict


class Row(BaseModel):
    """One row; the fields are the columns of its file, in order, and `key` names those that no two rows share."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    key: ClassVar[tuple[str, ...]] = ()

    @classmethod
    def columns(cls) -> list[str]:
        """The header of the file."""
        return list(cls.model_fields)
