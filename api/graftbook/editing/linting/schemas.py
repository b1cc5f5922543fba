"""What a finding of the lint looks like in JSON."""

from typing import Annotated, Literal

from pydantic import Field

from graftbook.document import Document
from graftbook.http.parameters import PageOut

SeverityWord = Literal["serious", "doubtful", "untidy"]


class MendOut(Document):
    """A record to mend."""

    kind: str
    name: str


class LintFindingOut(Document):
    """One finding: what is wrong, and where it is mended."""

    kind: Annotated[str, Field(description="the kind of finding")]
    severity: SeverityWord
    sentence: str
    fix: Annotated[str, Field(description="what mends it")]
    records: list[str]
    variants: Annotated[list[str], Field(description="where it was found; empty: it is the catalogue's")]
    mend: Annotated[list[MendOut], Field(description="the records among them, as addresses name them")]


class LintOut(PageOut):
    """A page of findings, the most serious first."""

    items: list[LintFindingOut]
