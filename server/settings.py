"""Every setting, read once from BENCHLEDGER_* variables."""

import re
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

from server.model.publishing import PublishingRule

# "10/hour", "4/15 minutes"; empty in the environment: no limit.
_WRITTEN = re.compile(r"[1-9]\d{0,6}/(?:[1-9]\d{0,3} )?(?:second|minute|hour|day)s?")
_RATE_PARTS = re.compile(r"(\d+)/(\d*) ?(second|minute|hour|day)")
_SECONDS = {"second": 1, "minute": 60, "hour": 3600, "day": 86400}


def _check_rate(text: str | None) -> str | None:
    if text and not _WRITTEN.fullmatch(text):
        raise ValueError("write it like 10/hour or 4/15 minutes, or leave it empty for no limit")
    return text or None


Rate = Annotated[str | None, BeforeValidator(_check_rate)]


class Settings(BaseSettings):
    model_config = SettingsConfigDict(env_prefix="BENCHLEDGER_", frozen=True)

    data: Path = Field(default=Path("data"), description="folder of the database and stored files")
    database_url: str | None = Field(default=None, description="else SQLite in the data folder")
    host: str = "127.0.0.1"
    port: int = Field(default=8000, ge=0, le=65535)
    public_url: str | None = Field(default=None, description="for links in previews and exports")
    web_processes: int = Field(default=2, ge=1, le=32)
    web_threads: int = Field(default=4, ge=1, le=64, description="threads of one web process")
    pool_size: int = Field(default=8, ge=1, le=200)
    kept_bytes: int = Field(
        default=16 * 1024**2, ge=0, description="answers each web process keeps in memory; 0: none"
    )
    max_upload_bytes: int = Field(default=1024**3, ge=1024)
    max_rows: int = Field(default=10_000_000, ge=2)
    max_columns: int = Field(default=256, ge=2)
    inline_rows: int = Field(
        default=2_000_000, ge=0, description="above: answered 202, worked later"
    )
    job_poll_s: float = 0.2
    job_lease_s: float = 300.0
    job_tries: int = 3
    session_hours: float = 12.0
    secure_cookies: bool = Field(default=False, description="set where the service sits behind TLS")

    standing_runs: int = Field(
        default=5, ge=0, description="published runs before clean ones need no look; 0: none asked"
    )
    standing_days: float = Field(default=180.0, ge=0, description="without a withdrawn run")
    look_share: float = Field(
        default=0.2, ge=0, le=1, description="of the runs published at once, looked at afterwards"
    )
    first_run_waits: bool = Field(
        default=True, description="the first run of an appliance is always looked at"
    )

    mail: Literal["console", "folder", "smtp"] = Field(
        default="console", description="where letters go; console: standard error"
    )
    mail_folder: Path | None = Field(default=None, description="for `folder`: one file a letter")
    mail_from: str = "Benchledger <ledger@localhost>"
    mail_host: str | None = Field(default=None, description="for `smtp`")
    mail_port: int | None = Field(default=None, description="else 587, or 465 with `tls`")
    mail_security: Literal["starttls", "tls", "none"] = "starttls"
    mail_user: str | None = None
    mail_password: str | None = Field(default=None, repr=False)
    oidc_issuer: str | None = Field(
        default=None, description="of an OpenID Connect provider to sign in with"
    )
    oidc_client_id: str | None = None
    oidc_client_secret: str | None = Field(default=None, repr=False)
    oidc_name: str = Field(default="your organisation", description="on its button")
    password_hashes: int = Field(
        default=2, ge=1, le=32, description="at one time in a web process, 64 MiB each"
    )

    sender_patience_s: float = Field(
        default=20.0, gt=0, description="waited for a body, before its least rate counts"
    )
    sender_bytes_per_s: float = Field(
        default=1024.0, ge=0, description="a body that comes slower than this is ended"
    )
    rate_store: str | None = Field(
        default=None,
        description="redis://… shares the counts below; else each web process takes its share",
    )
    trusted_proxies: int = Field(
        default=0, ge=0, le=8, description="in front, each adding to X-Forwarded-For; 0: not read"
    )
    limit_sign_in_by_address: Rate = "60/hour"
    limit_sign_in_by_account: Rate = "10/15 minutes"
    limit_sign_up_by_address: Rate = "20/hour"
    limit_sign_up_by_account: Rate = "4/hour"
    limit_reset_by_address: Rate = "20/hour"
    limit_reset_by_account: Rate = "4/hour"
    limit_report_by_address: Rate = "10/hour"
    limit_report_by_account: Rate = "30/hour"
    limit_trial_by_address: Rate = "30/hour"
    limit_trial_by_account: Rate = "120/hour"
    limit_download_by_address: Rate = "5000/hour"
    limit_download_by_account: Rate = "20000/hour"
    limit_read_by_address: Rate = Field(
        default="20000/hour", description="pages and answers made; a table counts ten"
    )

    @model_validator(mode="after")
    def _check_together(self) -> Self:
        needed = {
            "folder": ("mail_folder",),
            # Links in letters must not follow whatever host name a request names.
            "smtp": ("mail_host", "public_url"),
        }.get(self.mail, ())
        if self.oidc_issuer is not None:
            needed += ("oidc_client_id", "public_url")
        missing = [f"BENCHLEDGER_{name.upper()}" for name in needed if getattr(self, name) is None]
        is_safe = re.match(
            r"https://|http://(127\.0\.0\.1|localhost)\b", self.oidc_issuer or "https://"
        )
        if not is_safe:
            raise ValueError("BENCHLEDGER_OIDC_ISSUER must begin with https://")
        if missing:
            raise ValueError(f"these settings go together, and are missing: {', '.join(missing)}")
        return self

    @property
    def publishing_rule(self) -> PublishingRule:
        return PublishingRule(
            standing_runs=self.standing_runs,
            standing_days=self.standing_days,
            look_share=self.look_share,
            first_run_waits=self.first_run_waits,
        )

    @property
    def rates(self) -> dict[str, tuple[int, int]]:
        """Every limit that is set, by its name: how many in how many seconds."""
        found = {}
        for name in type(self).model_fields:
            written = getattr(self, name) if name.startswith("limit_") else None
            if written is not None:
                n, number, unit = _RATE_PARTS.findall(written)[0]
                found[name] = (int(n), int(number or 1) * _SECONDS[unit])
        return found

    @property
    def url(self) -> str:
        """Database URL as SQLAlchemy wants it."""
        if self.database_url is None:
            return f"sqlite+pysqlite:///{self.data / 'benchledger.sqlite3'}"
        return self.database_url.replace("postgresql://", "postgresql+psycopg://", 1)

    @property
    def files(self) -> Path:
        return self.data / "files"
