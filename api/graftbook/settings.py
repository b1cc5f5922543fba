"""One settings object, read from the environment (`GRAFTBOOK_…`)."""

import os
import re
from functools import lru_cache
from ipaddress import ip_address, ip_network
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

PREFIX = "GRAFTBOOK_"


class Settings(BaseModel):
    """What a house sets once. Every field is an environment variable with the prefix `GRAFTBOOK_`."""

    model_config = ConfigDict(extra="ignore", frozen=True)

    database_url: str = Field(
        "sqlite:///graftbook.sqlite3",
        description="`sqlite:///file` for one machine, `postgresql://user@host/name` beyond",
    )
    postgres_tools: str = Field(
        "", description="folder of pg_dump and pg_restore for `backup` and `restore`; else those on the PATH"
    )
    pool_size: int = Field(5, ge=1, le=100, description="database connections a process keeps (PostgreSQL)")
    currency: str = Field("GBP", pattern=r"^[A-Z]{3}$", description="ISO 4217 code of every price")
    rules: Literal["in service", "type approval"] = Field(
        "in service",
        description="which rules a vehicle must meet; those of type approval are else there to compare with",
    )
    review: Literal["off", "on"] = Field(
        "off",
        description="on: over HTTP and on the pages the catalogue changes only by proposals that somebody "
        "else accepted",
    )
    house: str = Field("", max_length=500, description="name and address that head orders and quotations")
    books_kept: int = Field(64, ge=1, le=100_000, description="compiled rule books a process keeps")
    books_memory: int = Field(
        256_000_000,
        ge=0,
        description="about the bytes that these may take, in it and in each reasoning process; the one asked "
        "for last is kept in any case",
    )
    seconds_to_reason: float = Field(
        10.0, gt=0, le=600, description="most seconds that an answer may take, whatever is asked for"
    )
    questions_at_once: int = Field(
        max(4, os.cpu_count() or 1),
        ge=1,
        le=100,
        description="questions that a process reasons over at once: as many as there are cores, at least 4",
    )
    questions_waiting: int = Field(
        8, ge=0, le=1_000, description="further ones that wait for a turn; beyond them: 503 with Retry-After"
    )
    reasoning_processes: int = Field(
        0,
        ge=0,
        le=100,
        description="processes in which it reasons; 0: in itself. `serve` without this setting: as many as "
        "questions at once",
    )
    imports_at_once: int = Field(
        2, ge=1, le=30, description="imports that a process checks or stores at once"
    )
    host: str = Field("127.0.0.1", description="address the service listens on")
    port: int = Field(8000, ge=0, le=65_535, description="port the service listens on; 0: any free one")
    reading: Literal["open", "closed"] = Field(
        "open", description="closed: questions and look-ups need a key too; changes always do"
    )
    without_keys: Literal["", "anyone may read"] = Field(
        "", description="this sentence lets it listen beyond this machine though no key exists"
    )
    names: str = Field(
        "", description="host names it is reached by, apart by commas; readers without a key use no other"
    )
    trusted_proxies: str = Field(
        "",
        description="proxies whose X-Forwarded headers are believed: addresses, apart by commas; else none",
    )
    cors_origins: str = Field(
        "",
        description="origins whose pages may ask the API from a browser, such as `https://shop.example`, "
        "apart by commas; `*`: any; else none. Cookies are never taken from them",
    )
    secure_cookies: bool = Field(False, description="send cookies over https only, also when a proxy ends it")
    largest_body: int = Field(1_000_000, ge=1_000, description="most bytes of a request's body")
    largest_import: int = Field(256_000_000, ge=1_000, description="most bytes of an import's body")
    answers_kept: int = Field(32_000_000, ge=0, description="bytes of ready answers a process keeps")
    events_kept_days: int = Field(
        30,
        ge=7,
        le=3_650,
        description="days that `/v1/events` goes back; what a webhook waits for is kept longer",
    )
    webhook_networks: str = Field(
        "",
        description="networks of the house's own that webhooks may go to, apart by commas, as 10.20.0.0/16; "
        "else only public addresses over https",
    )
    page_size: int = Field(50, ge=1, le=500, description="lines of a page when the asker names none")
    log_format: Literal["auto", "json", "text"] = Field(
        "auto", description="form of log lines; auto: text on a terminal, JSON elsewhere"
    )
    log_level: Literal["debug", "info", "warning", "error"] = Field(
        "info", description="least level that is logged; debug also writes what exceptions say"
    )
    drain_seconds: float = Field(
        5.0, ge=0, le=600, description="at SIGTERM: answers go on so long while /readyz says not ready"
    )
    finish_seconds: int = Field(
        30, ge=1, le=3600, description="after that: most time that requests in flight get to finish"
    )
    traces_to: str = Field(
        "", description="address of an OTLP collector (HTTP) that takes traces; needs graftbook[otel]"
    )

    @property
    def here_only(self) -> bool:
        """Whether it is told to listen on this machine only."""
        return on_this_machine(self.host)

    def answers_as(self, name: str) -> bool:
        """Whether a reader without a key may use this host name.

        The names that are set, and those of this machine while it listens here only. Where neither
        says anything every name is taken.
        """
        listed = {known.strip().lower() for known in self.names.split(",") if known.strip()}
        if name.lower() in listed:
            return True
        return on_this_machine(name) if self.here_only else not listed

    @model_validator(mode="before")
    @classmethod
    def _from_the_environment(cls, given: dict[str, Any]) -> dict[str, Any]:
        """What is given goes before what the environment says."""
        of_environment = {name.upper(): value for name, value in os.environ.items()}
        kept = {
            field: of_environment[_variable(field)]
            for field in cls.model_fields
            if _variable(field) in of_environment
        }
        return kept | given

    @property
    def origins(self) -> tuple[str, ...]:
        """The origins whose pages may ask."""
        return tuple(origin for each in self.cors_origins.split(",") if (origin := each.strip()))

    @field_validator("cors_origins")
    @classmethod
    def _are_origins(cls, listed: str) -> str:
        for origin in filter(None, (each.strip() for each in listed.split(","))):
            if origin != "*" and not re.fullmatch(r"https?://[a-z0-9.\-\[\]:]+", origin):
                raise ValueError(f"'{origin}' is no origin: it is written https://host or https://host:port")
        return listed

    @field_validator("webhook_networks")
    @classmethod
    def _readable(cls, text: str) -> str:
        for part in filter(None, map(str.strip, text.split(","))):
            ip_network(part)  # it says itself what is wrong
        return text

    @field_validator("database_url")
    @classmethod
    def _known_engine(cls, url: str) -> str:
        if url.split(":", 1)[0].split("+", 1)[0] not in ("sqlite", "postgresql"):
            raise ValueError("the database is sqlite:///… or postgresql://…")
        return url


def _variable(field: str) -> str:
    return f"{PREFIX}{field.upper()}"


@lru_cache(maxsize=64)
def on_this_machine(host: str) -> bool:
    """Whether an address or a name can only mean this machine (RFC 6761, 6.3 for the name)."""
    if host.lower() == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


@lru_cache
def settings() -> Settings:
    """The settings of this process, read once."""
    return Settings()
