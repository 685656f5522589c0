"""Signed HTTP messages against the examples of RFC 9421 and RFC 9530."""

import base64
import hashlib

from wanwatch.core.wire.signature import content_digest, quoted, signature_base, signed

KEY = base64.b64decode("uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ==")
"""RFC 9421 appendix B.1.5, test-shared-secret."""
COMPONENTS = {
    "date": "Tue, 20 Apr 2021 02:07:55 GMT",
    "@authority": "example.com",
    "content-type": "application/json",
}
PARAMETERS: dict[str, int | str] = {"created": 1618884473, "keyid": "test-shared-secret"}


def test_a_request_is_signed_as_the_standard_s_example() -> None:
    """RFC 9421 appendix B.2.5: hmac-sha256 over three components of its test request.

    Written down from memory; that key, base and signature agree shows that they are the standard's.
    """
    assert signed(COMPONENTS, PARAMETERS, key=KEY, label="sig-b25") == {
        "Signature-Input": (
            'sig-b25=("date" "@authority" "content-type");created=1618884473;keyid="test-shared-secret"'
        ),
        "Signature": "sig-b25=:pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=:",
    }


def test_the_signature_base_has_a_line_for_each_component_and_ends_with_none() -> None:
    """RFC 9421 section 2.5, and the base that appendix B.2.5 prints."""
    covered = '("date" "@authority" "content-type");created=1618884473;keyid="test-shared-secret"'
    assert signature_base(COMPONENTS, covered).decode().split("\n") == [
        '"date": Tue, 20 Apr 2021 02:07:55 GMT',
        '"@authority": example.com',
        '"content-type": application/json',
        f'"@signature-params": {covered}',
    ]


def test_a_body_s_digest_is_its_sha_256() -> None:
    """RFC 9530 appendix B: the digest of its example body, and of the empty one (FIPS 180-4's own, in hexadecimal)."""
    assert content_digest(b'{"hello": "world"}') == "sha-256=:X48E9qOokqqrvdts8nOJRJN3OWDUoyWxBf7kbu9DBPE=:"
    empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    assert base64.b64decode(content_digest(b"")[9:-1]).hex() == empty == hashlib.sha256().hexdigest()


def test_a_string_is_quoted_as_structured_fields_are() -> None:
    """RFC 8941 section 3.3.3: a backslash before quotes and backslashes."""
    assert quoted('a "b" \\') == '"a \\"b\\" \\\\"'
