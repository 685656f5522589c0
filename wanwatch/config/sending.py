"""How the daemon itself reaches people and watchers elsewhere, as the file describes it."""

from email.utils import parseaddr
from typing import Annotated, Literal, TypeAlias

from pydantic import AfterValidator, Field

from wanwatch.config.fields import (
    AnyUrl,
    CaFile,
    Duration,
    MailHost,
    SmtpPassword,
    Table,
    Text,
    Whole,
    usually,
)
from wanwatch.config.places import is_mailbox
from wanwatch.config.units import Unfit


def _from_somebody(written: str) -> str:
    if not is_mailbox(parseaddr(written)[1]):
        raise Unfit(reason="not a mail address", mend='write one such as "wanwatch@example.net"')
    return written


Sender: TypeAlias = Annotated[Text, AfterValidator(_from_somebody)]


class Smtp(Table):
    """The mail server that notices leave by."""

    host: MailHost
    """The mail server's name or address."""
    port: Annotated[Whole, Field(ge=1, le=65535)] = 587
    """Its port."""
    security: Literal["starttls", "tls", "none"] = "starttls"
    """How the connection is protected: `starttls`, `tls` or `none`. What is not offered is not done without."""
    sender: Sender
    """Mail address that notices come from."""
    user: Text | None = None
    """Name to sign in with."""
    password: SmtpPassword = Field(default=None, alias="password_file")
    """File that holds the password; or WANWATCH_SMTP_PASSWORD in the environment."""
    ca_file: CaFile | None = None
    """File of certificate authorities (PEM) trusted beside the system's own."""


class Ping(Table):
    """A sign of life, sent to whoever tells people when none comes any more."""

    url: AnyUrl
    """What is fetched (GET) by a line that works, while the record can be written; any 2xx is well."""
    every_ns: Duration = usually("5m", alias="every")
    """How often; at least 10s."""
