"""To where the record is sent, as the file describes it."""

from collections.abc import Iterable
from typing import Literal
from urllib.parse import urlsplit

from pydantic import Field

from wanwatch.config.apart import told_apart
from wanwatch.config.fields import AnyUrl, CaFile, Duration, SecretFile, Table, Text, usually


class RemoteWrite(Table):
    """A receiver of Prometheus remote write 1.0, to which the record is sent minute by minute."""

    url: AnyUrl
    """Where to send, such as `https://metrics.example.net/api/v1/write`."""
    bearer_token: SecretFile = Field(default=None, alias="bearer_token_file")
    """File that holds a token to show as Bearer (RFC 6750)."""
    user: Text | None = None
    """Name for basic authentication (RFC 7617); needs `password_file`."""
    password: SecretFile = Field(default=None, alias="password_file")
    """File that holds its password."""
    ca_file: CaFile | None = None
    """File of certificate authorities (PEM) trusted beside the system's own."""
    through: Literal["up", "any"] = "up"
    """`up`: by the pin of a line that is up, rather the one that carries; `any`: as this machine routes."""
    back_fill_ns: Duration = usually("24h", alias="back_fill")
    """How far back minutes are still sent after a time without a line, or at the first start."""


def receiver_names(receivers: Iterable[RemoteWrite]) -> tuple[str, ...]:
    """Return a name for each receiver: its host, for the rest of a URL may be somebody's key; no two are alike."""
    return told_apart(urlsplit(receiver.url).netloc for receiver in receivers)
