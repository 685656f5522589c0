"""What an installer hands over, as a TOML file: read, checked key by key, and told as one value.

The same checks serve a file and answers at a terminal: both are a document of keys.
"""

import hashlib
import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator, Field, ValidationError, ValidationInfo

from wanwatch.config import units
from wanwatch.config.fields import LONGEST_PATH, Around, Rate, Table, Text, Whole, Yes
from wanwatch.config.mistakes import Mistake, of_pydantic
from wanwatch.config.units import Unfit
from wanwatch.core.acceptance import Handover, Photograph
from wanwatch.core.acceptance.handover import DUPLEXES, MEDIA
from wanwatch.core.account.light import CLASSES
from wanwatch.core.errors import WanwatchError

_MM: Final = 1000
_PIECE_BYTES: Final = 1 << 20


class HandoverError(WanwatchError):
    """What was handed over cannot be used. Its text holds every mistake, one a line.

    Attributes:
        mistakes: All of them.
    """

    def __init__(self, place: str, mistakes: list[Mistake]) -> None:
        self.mistakes = tuple(mistakes)
        super().__init__("\n".join(f"{place}: {mistake}" for mistake in mistakes))


def _photograph(value: object, info: ValidationInfo) -> Photograph:
    if not isinstance(value, str) or not value or not value.isprintable() or len(value) > LONGEST_PATH:
        raise Unfit(reason="not the name of a file", mend='write one such as "terminal.jpg"')
    folder = info.context.folder if isinstance(info.context, Around) else Path()
    path = folder / value
    try:
        # A pipe or a device would never end.
        if not path.is_file():
            raise Unfit(reason="there is no such file", mend="write its name as seen from the folder of this file")
        with path.open("rb") as file:
            digest = hashlib.sha256()
            while piece := file.read(_PIECE_BYTES):
                digest.update(piece)
            return Photograph(path.name, file.tell(), digest.hexdigest())
    except OSError as error:
        reason = f"cannot be read: {os.strerror(error.errno or 0)}"
        raise Unfit(reason=reason, mend="let the user who asks read it") from None


class HandoverTable(Table):
    """What an installer hands over with a line; every key may be left out, and is then not decided."""

    medium: Literal[MEDIA] | None = None  # type: ignore[valid-type]  # the tuple's words
    """What the line is made of: `fibre`, `copper` or `radio`. Light is asked about on fibre only."""
    circuit: Text | None = None
    """The circuit's reference, as the provider knows it."""
    public_address: Yes | None = None
    """Whether the contract has a public IPv4 address of the line's own."""
    port_rate_bps: Rate | None = Field(default=None, alias="port_rate")
    """Rate of the port that the line is handed over on, as the device that it ends in shows it, such as `1Gbps`."""
    duplex: Literal[DUPLEXES] | None = None  # type: ignore[valid-type]  # likewise
    """Its duplex: `full` or `half`."""
    light_level: Annotated[float, BeforeValidator(units.level)] | None = None
    """Level of the light at the terminal, such as `-18.4dBm`."""
    wavelength_nm: Annotated[int, BeforeValidator(units.wavelength)] | None = Field(default=None, alias="wavelength")
    """Wavelength that the power meter was set to, such as `1490nm`."""
    light_class: Literal[tuple(CLASSES)] | None = None  # type: ignore[valid-type]  # likewise
    """Class of the optical network (ITU-T G.984.2): `B+` or `C+`; B+ is taken if left out."""
    level_before: Annotated[float, BeforeValidator(units.level)] | None = None
    """Level of the light where the drop begins, if it was measured there; the budget is then that of the drop."""
    length_mm: Annotated[int, BeforeValidator(units.distance)] | None = Field(default=None, alias="length")
    """Length of cable, such as `350m`: of the drop with `level_before`, else of all the way from the exchange."""
    splices: Annotated[Whole, Field(ge=0, le=1000)] | None = None
    """Splices on it."""
    connectors: Annotated[Whole, Field(ge=0, le=1000)] | None = None
    """Mated pairs of connectors on it."""
    split: Annotated[Whole, Field(ge=1, le=1024)] | None = None
    """Ways that the splitters on it split into, such as `32`; `1` for none."""
    cable: Text | None = None
    """Type of the cable, such as `G.657.A2`."""
    bend_radius_mm: Annotated[int, BeforeValidator(units.distance)] | None = Field(default=None, alias="bend_radius")
    """The tightest bend that was left, such as `15mm`."""
    photographs: tuple[Annotated[Photograph, BeforeValidator(_photograph)], ...] = ()
    """Photographs by file name, as seen from the folder of this file; name, size and SHA-256 are kept."""


def load_handover(path: Path) -> Handover:
    """Read the file at *path*.

    Raises:
        HandoverError: With every mistake in it.
    """
    try:
        document = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        reason, mend = f"cannot be read: {os.strerror(error.errno or 0)}", "name another file with --handover"
    except UnicodeDecodeError as error:
        reason, mend = f"not UTF-8 text (byte {error.start})", "save it as UTF-8"
    except (ValueError, RecursionError) as error:  # tomllib's own error is a ValueError
        reason, mend = f"not TOML: {error}", "mend the line named"
    else:
        return read_handover(document, path.resolve().parent, str(path))
    raise HandoverError(str(path), [Mistake("file", None, reason, mend)])


def read_handover(document: Mapping[str, Any], folder: Path, place: str = "handover") -> Handover:
    """Check a document of keys.

    Args:
        document: The keys, as TOML gives them.
        folder: Where names of photographs start from.
        place: Where the document stands, for errors.

    Raises:
        HandoverError: With every mistake in it.
    """
    try:
        table = HandoverTable.model_validate(document, context=Around(folder, {}))
    except ValidationError as error:
        told = {str(mistake): mistake for _, mistake in of_pydantic(error, HandoverTable, document)}
        raise HandoverError(place, list(told.values())) from None
    return _handed_over(table)


def _handed_over(table: HandoverTable) -> Handover:
    return Handover(
        medium=table.medium,
        circuit=table.circuit,
        public_address=table.public_address,
        port_bps=table.port_rate_bps,
        duplex=table.duplex,
        light_dbm=table.light_level,
        wavelength_nm=table.wavelength_nm,
        light_class=table.light_class,
        entering_dbm=table.level_before,
        length_m=None if table.length_mm is None else table.length_mm / _MM,
        splices=table.splices,
        connectors=table.connectors,
        split=table.split,
        cable=table.cable,
        bend_radius_mm=table.bend_radius_mm,
        photographs=table.photographs,
    )
