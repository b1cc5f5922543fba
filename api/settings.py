"""One settings object, read from the environment (`GRAFTBOOK_…`)."""

from functools import lru_cache

from pydantic import Field, field_validator
from pydantic_settings import BaseSettings, SettingsConfigDict


class Settings(BaseSettings):
    """What a house sets once. Every field is an environment variable with the prefix `GRAFTBOOK_`."""

    model_config = SettingsConfigDict(env_prefix="GRAFTBOOK_", extra="ignore", frozen=True)

    database_url: str = Field(
        "sqlite:///graftbook.sqlite3",
        description="`sqlite:///file` for one machine, `postgresql://user@host/name` beyond",
    )
    pool_size: int = Field(5, ge=1, le=100, description="database connections a process keeps (PostgreSQL)")
    currency: str = Field("GBP", pattern=r"^[A-Z]{3}$", description="ISO 4217 code of every price")
    books_kept: int = Field(64, ge=1, le=100_000, description="compiled rule books a process keeps")
    seconds_to_reason: float = Field(10.0, gt=0, le=600, description="time limit of one proof")
    host: str = Field("127.0.0.1", description="address the service listens on")
    port: int = Field(8000, ge=0, le=65_535, description="port the service listens on; 0: any free one")
    open_writes: bool = Field(
        False, description="take changes without a key also when the service listens beyond this machine"
    )
    largest_body: int = Field(1_000_000, ge=1_000, description="most bytes of a request's body")
    largest_import: int = Field(256_000_000, ge=1_000, description="most bytes of an import's body")
    answers_kept: int = Field(32_000_000, ge=0, description="bytes of ready answers a process keeps")
    page_size: int = Field(50, ge=1, le=500, description="lines of a page when the asker names none")

    @field_validator("database_url")
    @classmethod
    def _known_engine(cls, url: str) -> str:
        if url.split(":", 1)[0].split("+", 1)[0] not in ("sqlite", "postgresql"):
            raise ValueError("the database is sqlite:///… or postgresql://…")
        return url


@lru_cache
def settings() -> Settings:
    """The settings of this process, read once."""
    return Settings()
