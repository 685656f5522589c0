"""Kinds of values that keys of the file take: each checks itself, and describes itself to the JSON Schema."""

import os
import ssl
import stat
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, Final, TypeAlias
from urllib.parse import unquote
from zoneinfo import ZoneInfo

from pydantic import BaseModel as _BaseModel
from pydantic import (
    BeforeValidator,
    ConfigDict,
    Field,
    GetJsonSchemaHandler,
    SecretStr,
    ValidationInfo,
    WithJsonSchema,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import core_schema

from wanwatch.config import locales, places, units
from wanwatch.config.units import Hours, Money, Schedule, Unfit
from wanwatch.core.model import UNPINNED

LONGEST_NAME: Final = 200
SHORTEST_PASSWORD: Final = 8
LONGEST_PATH: Final = 4095
"""Linux: PATH_MAX with its closing zero is 4096 (linux/limits.h)."""


@dataclass(frozen=True, slots=True)
class Around:
    """What a value is read amid: the folder that relative paths start from, and the environment."""

    folder: Path
    environ: Mapping[str, str]


class Table(_BaseModel):
    """A table of the file: frozen once read, and a key it does not know is a mistake."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        use_attribute_docstrings=True,
        arbitrary_types_allowed=True,
        hide_input_in_errors=True,
        protected_namespaces=(),
        validate_default=True,  # so that defaults are written as the file writes them
    )


def usually(written: object, alias: str | None = None) -> Any:
    """Return a key's default, *written* as the file would write it and read likewise."""
    return Field(default=written, alias=alias)


class _OneOrMany:
    """Describes a list that may be written as its only table."""

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        many = handler(schema)
        return {"oneOf": [many["items"], many]}


def text_schema(*examples: str) -> WithJsonSchema:
    """Describe a value that is written as text."""
    return WithJsonSchema({"type": "string", "examples": list(examples)})


def _one_or_many_schema(*examples: str) -> WithJsonSchema:
    one = {"type": "string", "examples": list(examples)}
    return WithJsonSchema({"oneOf": [one, {"type": "array", "items": one}]})


def around_of(info: ValidationInfo) -> Around:
    """Return what a value is read amid."""
    return info.context if isinstance(info.context, Around) else Around(Path(), {})


def _printable(value: object, longest: int = LONGEST_NAME) -> str:
    if not isinstance(value, str):
        raise Unfit(reason="not text", mend="write it in quotes")
    if not value.strip():
        raise Unfit(reason="it is empty", mend="write at least one letter")
    if not value.isprintable():
        raise Unfit(reason="it holds a character that cannot be printed", mend="write it without control characters")
    if len(value) > longest:
        raise Unfit(reason=f"longer than {longest} characters", mend="write a shorter one")
    return value


def _uplink_name(value: object) -> str:
    name = _printable(value)
    if name == UNPINNED:
        raise Unfit(
            reason=f"{UNPINNED!r} is this program's own name for the path of ordinary traffic", mend="write another one"
        )
    return name


def _zone(value: object) -> str:
    name = _printable(value)
    try:
        ZoneInfo(name)
    except (ValueError, OSError):  # ZoneInfoNotFoundError is a KeyError on its own
        raise _no_zone() from None
    except KeyError:
        raise _no_zone() from None
    return name


def _no_zone() -> Unfit:
    return Unfit(
        reason="no such time zone", mend='write a name of the IANA time zone database, such as "Europe/London"'
    )


def nearest_there(folder: Path) -> Path:
    """Return *folder*, or the nearest one above it that exists and may be looked at."""
    # os.path.exists and not Path.exists: that one raises where a folder above may not be looked into.
    return next(place for place in (folder, *folder.parents) if os.path.exists(place) or place == place.parent)  # noqa: PTH110


def writable(folder: Path) -> bool:
    """Whether the user who asks may make files in *folder*."""
    return folder.is_dir() and os.access(folder, os.W_OK | os.X_OK, effective_ids=True)


def _data_dir(value: object, info: ValidationInfo) -> Path:
    written = _printable(value, LONGEST_PATH)
    if written.startswith("~"):
        raise Unfit(reason="'~' is a shell's word", mend="write the whole path")
    folder = Path(os.path.normpath(around_of(info).folder / written))
    nearest = nearest_there(folder)
    if not nearest.is_dir():
        raise Unfit(reason=f"{str(nearest)!r} is a file", mend="write the path of a folder")
    if not writable(nearest):
        what = "cannot be written to" if nearest == folder else "cannot be made"
        raise Unfit(
            reason=f"this folder {what} by the user who asks ({str(nearest)!r} is not theirs to write)",
            mend="write another folder, or give that one to the user whom the daemon runs as",
        )
    return folder


def _secret(variable: str | None = None) -> Callable[[object, ValidationInfo], SecretStr | None]:
    """Return a validator that swaps a file's path for its content; without one it looks at the environment.

    Where no *variable* is named, there is the file only.
    """

    def read(value: object, info: ValidationInfo) -> SecretStr | None:
        around = around_of(info)
        if value is None:
            held = around.environ.get(variable, "").strip() if variable else ""
            return SecretStr(held) if held else None
        mend = "write the path of a file that the daemon's user can read"
        if variable:
            mend += f", or set {variable} in its environment"
        if not isinstance(value, str):
            raise Unfit(reason="not a path", mend=mend)
        return SecretStr(_secret_text(around.folder / value, mend))

    return read


def _long_secret(value: object, info: ValidationInfo) -> SecretStr | None:
    """Read a password of SNMPv3: RFC 3414 section 11.2 asks for eight letters, and libraries refuse fewer."""
    held = _secret()(value, info)
    if held is not None and len(held.get_secret_value()) < SHORTEST_PASSWORD:
        raise Unfit(reason="the file's password is too short", mend="choose one of at least eight letters")
    return held


def held_text(path: Path, mend: str) -> str:
    """Read a secret's file. No error here shows the path: people do paste the secret itself there."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise Unfit(reason="not a plain file", mend=mend)
        return path.read_text("utf-8").strip()
    except UnicodeDecodeError:
        raise Unfit(reason="the file does not hold text", mend=mend) from None
    except (OSError, ValueError):  # ValueError: a zero byte in the path
        raise Unfit(reason="there is no such file, or it cannot be read", mend=mend) from None


def _secret_text(path: Path, mend: str) -> str:
    held = held_text(path, mend)
    if not held or "\n" in held:
        raise Unfit(reason="the file does not hold exactly one line", mend="write the secret on its first line")
    return held


def _each(parse: Callable[[object], str]) -> Callable[[object], tuple[str, ...]]:
    """Return a validator for one value or a list of them."""

    def read(value: object) -> tuple[str, ...]:
        return tuple(parse(one) for one in (value if isinstance(value, list | tuple) else [value]))

    return read


def _pair(default_port: int | None) -> BeforeValidator:
    return BeforeValidator(lambda value: places.endpoint(value, default_port))


def _resolver(value: object) -> str:
    found = places.resolver(value)
    if found.name is not None:
        _host_name(found.name)
    return places.show_resolver(found)


def _ca_file(value: object, info: ValidationInfo) -> Path:
    path = around_of(info).folder / _printable(value, LONGEST_PATH)
    mend = "write the path of a file of certificate authorities in PEM that the daemon's user can read"
    try:
        ssl.create_default_context().load_verify_locations(path)
    except ssl.SSLError:
        raise Unfit(reason="there is no certificate in it", mend=mend) from None
    except OSError:
        raise Unfit(reason="there is no such file, or it cannot be read", mend=mend) from None
    return path


def _host_name(value: object) -> str:
    name = _printable(value)
    labels = name.rstrip(".").split(".")
    if len(name) > 253 or not all(  # noqa: PLR2004 - RFC 1035 section 2.3.4, less the root's two bytes
        0 < len(label) < 64 and label.isascii() and label.replace("-", "a").replace("_", "a").isalnum()  # noqa: PLR2004
        for label in labels
    ):
        raise Unfit(reason="not a domain name", mend='write one such as "www.example.com"')
    return name


def _mail_host(value: object) -> str:
    try:
        return places.address(value)
    except Unfit:
        return _host_name(value)


def _date(value: object) -> date:
    if type(value) is not date:  # a datetime is a date too, and is not meant
        raise Unfit(reason="not a date", mend="write it without quotes, such as 2026-11-03")
    return value


def _notice_to(value: object) -> str:
    if isinstance(value, str) and value.startswith("mailto:"):
        if places.is_mailbox(unquote(value.removeprefix("mailto:"))):
            return value
        raise Unfit(reason="not a mail address", mend='write one such as "mailto:ops@example.net"')
    try:
        return places.url(value, "https")
    except Unfit as unfit:
        mend = 'write "mailto:ops@example.net" or the https URL of a webhook'
        raise Unfit(reason=unfit.reason, mend=mend) from None


def _address_url(value: object) -> str:
    mend = 'write one such as "http://192.0.2.80:9471/address"'
    try:
        written = places.url(value, "http", "https")
    except Unfit as unfit:
        raise Unfit(reason=unfit.reason, mend=mend) from None
    if places.version(written) is None:
        # Behind a name each line might meet another server, or another family, and their words would not compare.
        raise Unfit(reason="a host name stands in it", mend=mend)
    return written


ONE_OR_MANY: Final = (BeforeValidator(lambda value: [value] if isinstance(value, dict) else value), _OneOrMany())
"""Beside a tuple of tables: a single table may stand for a list of one."""
RESOLVERS: Final = ("192.0.2.53", "tls://192.0.2.53#dns.example.net", "https://192.0.2.53/dns-query")
Text: TypeAlias = Annotated[str, BeforeValidator(_printable), WithJsonSchema({"type": "string", "minLength": 1})]
UplinkName: TypeAlias = Annotated[
    str, BeforeValidator(_uplink_name), WithJsonSchema({"type": "string", "minLength": 1})
]
Locale: TypeAlias = Annotated[str, BeforeValidator(locales.locale), text_schema("en-GB", "de-CH")]
Zone: TypeAlias = Annotated[str, BeforeValidator(_zone), text_schema("Europe/London")]
DataDir: TypeAlias = Annotated[Path, BeforeValidator(_data_dir), text_schema("/var/lib/wanwatch", "./wanwatch-data")]
Duration: TypeAlias = Annotated[int, BeforeValidator(units.duration), text_schema("200ms", "5s", "2m", "4h", "30d")]
Rate: TypeAlias = Annotated[int, BeforeValidator(units.rate), text_schema("450Mbps")]
Size: TypeAlias = Annotated[int, BeforeValidator(units.size), text_schema("5 GB")]
MonthlySize: TypeAlias = Annotated[int, BeforeValidator(units.monthly_size), text_schema("2 GB/month")]
Share: TypeAlias = Annotated[Decimal, BeforeValidator(units.share), text_schema("99.9%")]
DayHours: TypeAlias = Annotated[Hours, BeforeValidator(units.hours), text_schema("20:00-22:00")]
Every: TypeAlias = Annotated[Schedule, BeforeValidator(units.schedule), text_schema("every 2h jitter 20m")]
Fee: TypeAlias = Annotated[Money, BeforeValidator(units.money), text_schema("120.00 GBP")]
Day: TypeAlias = Annotated[date, BeforeValidator(_date), WithJsonSchema({"type": "string", "format": "date"})]
Address: TypeAlias = Annotated[str, BeforeValidator(places.address), text_schema("192.0.2.1", "2001:db8::1")]
Sources: TypeAlias = Annotated[
    tuple[str, ...], BeforeValidator(_each(places.address)), _one_or_many_schema("10.20.0.11", "2001:db8:20::11")
]
Resolver: TypeAlias = Annotated[str, BeforeValidator(_resolver), text_schema(*RESOLVERS)]
StampPlace: TypeAlias = Annotated[places.Endpoint, _pair(862), text_schema("192.0.2.1", "192.0.2.1:862")]
TcpPlace: TypeAlias = Annotated[places.Endpoint, _pair(None), text_schema("192.0.2.1:443", "[2001:db8::1]:443")]
SnmpPlace: TypeAlias = Annotated[places.Endpoint, _pair(161), text_schema("10.20.0.1", "10.20.0.1:161")]
StunPlace: TypeAlias = Annotated[places.Endpoint, _pair(3478), text_schema("192.0.2.78:3478")]
Interface: TypeAlias = Annotated[str, BeforeValidator(places.interface), text_schema("eth1")]
HttpUrl: TypeAlias = Annotated[
    str, BeforeValidator(lambda value: places.url(value, "http")), text_schema("http://www.example.com/")
]
HttpsUrl: TypeAlias = Annotated[
    str, BeforeValidator(lambda value: places.url(value, "https")), text_schema("https://www.example.com/")
]
AnyUrl: TypeAlias = Annotated[
    str, BeforeValidator(lambda value: places.url(value, "http", "https")), text_schema("http://192.0.2.80/")
]
AddressUrl: TypeAlias = Annotated[str, BeforeValidator(_address_url), text_schema("http://192.0.2.80:9471/address")]
HostName: TypeAlias = Annotated[str, BeforeValidator(_host_name), text_schema("www.example.com")]
MailHost: TypeAlias = Annotated[str, BeforeValidator(_mail_host), text_schema("mail.example.net")]
NoticeTo: TypeAlias = Annotated[str, BeforeValidator(_notice_to), text_schema("mailto:ops@example.net")]
CaFile: TypeAlias = Annotated[Path, BeforeValidator(_ca_file), text_schema("/etc/wanwatch/authorities.pem")]
Whole: TypeAlias = Annotated[int, Field(strict=True)]
Yes: TypeAlias = Annotated[bool, Field(strict=True)]


SMTP_PASSWORD: Final = "WANWATCH_SMTP_PASSWORD"  # noqa: S105 - the variable's name, not what it holds
SPEED_TOKEN: Final = "WANWATCH_SPEED_TOKEN"  # noqa: S105 - likewise
_FILE_SCHEMA: Final = text_schema("/etc/wanwatch/secret")
SmtpPassword: TypeAlias = Annotated[SecretStr | None, BeforeValidator(_secret(SMTP_PASSWORD)), _FILE_SCHEMA]
AddressToken: TypeAlias = Annotated[SecretStr | None, BeforeValidator(_secret()), _FILE_SCHEMA]
StampKey: TypeAlias = Annotated[SecretStr | None, BeforeValidator(_secret()), _FILE_SCHEMA]
SnmpCommunity: TypeAlias = Annotated[SecretStr | None, BeforeValidator(_secret()), _FILE_SCHEMA]
SnmpSecret: TypeAlias = Annotated[SecretStr | None, BeforeValidator(_long_secret), _FILE_SCHEMA]
SecretFile: TypeAlias = Annotated[SecretStr | None, BeforeValidator(_secret()), _FILE_SCHEMA]
SpeedToken: TypeAlias = Annotated[SecretStr | None, BeforeValidator(_secret(SPEED_TOKEN)), _FILE_SCHEMA]
