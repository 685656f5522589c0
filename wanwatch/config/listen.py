"""Where the status page and the API are served, and who may read them, as the file describes it."""

from pathlib import Path
from typing import Annotated, Final, TypeAlias

from pydantic import BeforeValidator, Field, ValidationInfo

from wanwatch.config import places
from wanwatch.config.fields import Table, around_of, held_text, text_schema, usually
from wanwatch.config.units import Unfit
from wanwatch.core.door import Password, PasswordError, TokenError, digest, read_tokens

LISTEN_TOKEN: Final = "WANWATCH_LISTEN_TOKEN"  # noqa: S105 - the variable's name, not what it holds
_READABLE: Final = "write the path of a file that the daemon's user can read"


def _place(value: object) -> places.Endpoint:
    if isinstance(value, str) and value.partition(":")[0] == "localhost":
        raise Unfit(reason="a name, not an address", mend='write "127.0.0.1:9470" or "[::1]:9470"')
    return places.endpoint(value, 9470, any_of_ours=True)


def _path(value: object, info: ValidationInfo, mend: str) -> Path:
    if not isinstance(value, str):
        raise Unfit(reason="not a path", mend=mend)
    return around_of(info).folder / value


def _password(value: object, info: ValidationInfo) -> Password | None:
    if value is None:
        return None
    held = held_text(_path(value, info, _READABLE), _READABLE)
    try:
        return Password.from_line(held)
    except PasswordError as error:
        raise Unfit(reason=error.reason, mend="make its line with: wanwatch password") from None


def _tokens(value: object, info: ValidationInfo) -> tuple[bytes, ...]:
    """Read digests only: once the configuration is read, nobody can get a token out of this program again."""
    mend = f"{_READABLE}, or set {LISTEN_TOKEN} in its environment"
    if value is None:
        held = around_of(info).environ.get(LISTEN_TOKEN, "").strip()
        return (digest(held),) if held else ()
    held = held_text(_path(value, info, mend), mend)
    try:
        return read_tokens(held)
    except TokenError as error:
        raise Unfit(reason=error.reason, mend="make a token with: wanwatch password --token") from None


def _pem(value: object, info: ValidationInfo) -> Path | None:
    return None if value is None else _path(value, info, _READABLE)


_Place: TypeAlias = Annotated[places.Endpoint, BeforeValidator(_place), text_schema("127.0.0.1:9470")]
_Password: TypeAlias = Annotated[Password | None, BeforeValidator(_password), text_schema("/etc/wanwatch/password")]
_Tokens: TypeAlias = Annotated[tuple[bytes, ...], BeforeValidator(_tokens), text_schema("/etc/wanwatch/tokens")]
_Pem: TypeAlias = Annotated[Path | None, BeforeValidator(_pem), text_schema("/etc/wanwatch/certificate.pem")]


class Listen(Table):
    """Where the status page, the JSON API and /metrics are served, and to whom."""

    place: _Place = usually("127.0.0.1:9470", alias="address")
    """Address and port to listen on. Beyond loopback a password or a token is needed."""
    password: _Password = Field(default=None, alias="password_file", repr=False)
    """File that holds the hash of the password that people sign in with; `wanwatch password` makes it."""
    tokens: _Tokens = Field(
        default=None,  # type: ignore[arg-type]  # the validator makes something of it
        alias="token_file",
        repr=False,
    )
    """File of the tokens that programs show as Bearer, kept as hashes or one in plain; or WANWATCH_LISTEN_TOKEN."""
    certificate: _Pem = Field(default=None, alias="certificate_file")
    """File of the certificate (PEM, with what signed it) to be served by TLS with; without it, plain HTTP."""
    key: _Pem = Field(default=None, alias="key_file")
    """File of its private key (PEM, without a passphrase); left out where it stands in the certificate's file."""

    @property
    def address(self) -> str:
        """The address to listen on."""
        return self.place.address

    @property
    def port(self) -> int:
        """The TCP port to listen on."""
        return self.place.port
