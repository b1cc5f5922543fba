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
