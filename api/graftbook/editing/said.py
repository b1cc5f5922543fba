"""What every edit of the catalogue may say beside its content."""

from typing import Annotated

from fastapi import Query

Why = Annotated[
    str, Query(max_length=500, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$", description="why, for the history")
]
DryRun = Annotated[bool, Query(description="check everything, store nothing")]
