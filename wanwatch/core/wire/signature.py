"""HTTP messages that prove who sent them and that nobody has changed them: header fields to be sent along.

Sources:     RFC 9421 sections 2.5 (the signature base), 3.3.3 (hmac-sha256) and 4 (Signature-Input, Signature);
             RFC 9530 section 2 (Content-Digest); RFC 8941 section 3 (structured fields).
Departures:  we only sign; components have no parameters, and values are taken as they are, one line each.
"""

import hashlib
import hmac
from base64 import b64encode
from collections.abc import Mapping


def content_digest(body: bytes) -> str:
    """Return the value of Content-Digest: the SHA-256 of the body."""
    return f"sha-256={_octets(hashlib.sha256(body).digest())}"


def signed(
    components: Mapping[str, str], parameters: Mapping[str, int | str], *, key: bytes, label: str
) -> dict[str, str]:
    """Return the two header fields that sign a message.

    Args:
        components: What is covered, in this order: derived components (`@method`) and header fields in lower case, each
            with its value.
        parameters: Of the signature, in this order, such as `created` in seconds since 1970.
        key: The secret that is shared with the receiver.
        label: Tells this signature from others of the same message.
    """
    names = " ".join(quoted(name) for name in components)
    said = "".join(
        f";{name}={value if isinstance(value, int) else quoted(value)}" for name, value in parameters.items()
    )
    covered = f"({names}){said}"
    signature = hmac.digest(key, signature_base(components, covered), "sha256")
    return {"Signature-Input": f"{label}={covered}", "Signature": f"{label}={_octets(signature)}"}


def signature_base(components: Mapping[str, str], covered: str) -> bytes:
    """Return what is signed: a line for each component, and one for what is covered."""
    lines = [f"{quoted(name)}: {value}" for name, value in {**components, "@signature-params": covered}.items()]
    return "\n".join(lines).encode("ascii")


def quoted(text: str) -> str:
    """Return printable ASCII as a structured field's string."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _octets(octets: bytes) -> str:
    return f":{b64encode(octets).decode()}:"
