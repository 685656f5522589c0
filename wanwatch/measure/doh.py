"""DNS over HTTPS: one POST over HTTP/2.

Sources:     RFC 8484 sections 4.1 (POST, the media type, ID 0), 4.2.1 (only a 2xx holds an answer) and 5.2 (HTTP/2 is
             the least version recommended); RFC 9113, spoken by h2.
Departures:  HTTP/1.1 is not offered: servers of the trade refuse it.
"""

from dataclasses import dataclass, field
from typing import Final

import h2.config
import h2.connection
import h2.events
import h2.exceptions

from wanwatch.measure.stream import Streams, send

PROTOCOL: Final = "h2"
MEDIA_TYPE: Final = "application/dns-message"
MOST_BODY_BYTES: Final = 65_535
"""RFC 1035 section 4.2.2: no DNS message is longer."""
_READ_BYTES: Final = 16_384
_STREAM: Final = 1


class NoHttp2Error(Exception):
    """What came back is no HTTP/2, ended early, or is longer than any DNS message."""


@dataclass(slots=True)
class Response:
    """What a server answered.

    Attributes:
        status: The HTTP status; 0 before it came.
        media_type: The content type, without parameters.
        body: The body.
    """

    status: int = 0
    media_type: str = ""
    body: bytearray = field(default_factory=bytearray)


async def post(streams: Streams, authority: str, path: str, message: bytes) -> Response:
    """Post a DNS *message* and return what comes back. Cancel to bound.

    Raises:
        NoHttp2Error: The far end broke off, or does not keep to HTTP/2.
        OSError: The connection broke.
    """
    try:
        return await _exchange(streams, _request(authority, path, len(message)), message)
    except (h2.exceptions.ProtocolError, UnicodeDecodeError, ValueError) as error:
        raise NoHttp2Error(str(error)) from error


def _request(authority: str, path: str, length: int) -> list[tuple[str, str]]:
    return [
        (":method", "POST"),
        (":scheme", "https"),
        (":authority", authority),
        (":path", path),
        ("accept", MEDIA_TYPE),
        ("content-type", MEDIA_TYPE),
        ("content-length", str(length)),
        ("user-agent", "wanwatch"),
    ]


async def _exchange(streams: Streams, headers: list[tuple[str, str]], message: bytes) -> Response:
    reader, writer = streams
    http = h2.connection.H2Connection(h2.config.H2Configuration(client_side=True, header_encoding="utf-8"))
    http.initiate_connection()
    http.send_headers(_STREAM, headers)
    http.send_data(_STREAM, message, end_stream=True)
    response = Response()
    ended = False
    while not ended:
        send(writer, http.data_to_send())
        data = await reader.read(_READ_BYTES)
        if not data:
            raise NoHttp2Error
        for event in http.receive_data(data):
            ended |= _take(event, http, response)
    return response


def _take(event: h2.events.Event, http: h2.connection.H2Connection, response: Response) -> bool:
    """Take in one event; tell whether the answer is whole."""
    match event:
        case h2.events.ResponseReceived():
            headers = {str(name): str(value) for name, value in event.headers}
            response.status = int(headers[":status"])
            response.media_type = headers.get("content-type", "").partition(";")[0].strip().lower()
        case h2.events.DataReceived():
            response.body += event.data
            if len(response.body) > MOST_BODY_BYTES:
                raise NoHttp2Error
            http.acknowledge_received_data(event.flow_controlled_length, _STREAM)
        case h2.events.StreamEnded():
            return True
        case h2.events.StreamReset() | h2.events.ConnectionTerminated():
            raise NoHttp2Error
        case _:
            pass
    return False
