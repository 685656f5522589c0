"""Write requests as bytes: as the protocol has them."""

import cramjam
from hypothesis import given
from hypothesis import strategies as st

from tests.publish.remote_write.decoded import points
from wanwatch.publish.remote_write.wire import compressed, in_order, labels, write_request

UP = labels("up", {"job": "x"})
BYTES = bytes.fromhex("0a2c0a0e0a085f5f6e616d655f5f120275700a080a036a6f62120178121009000000000000f03f1080d0eab6b733")


def test_a_request_is_encoded_as_protocol_buffers_say() -> None:
    """Protocol Buffers encoding of remote write 1.0's WriteRequest; the bytes were reckoned by hand from both."""
    assert write_request({UP: [(1_767_225_600_000, 1.0)]}) == BYTES


def test_a_receiver_reads_what_stands_in_the_bytes() -> None:
    """The same bytes, reckoned by hand, through the decoder that other tests read requests with."""
    assert points(BYTES) == {UP: [(1_767_225_600_000, 1.0)]}


def test_a_receiver_unpacks_what_was_packed() -> None:
    """The Snappy block format: the length as a varint comes first, and a decoder gives back what went in."""
    packed = compressed(BYTES)
    assert packed[0] == len(BYTES)
    assert bytes(cramjam.snappy.decompress_raw(packed)) == BYTES


@given(st.binary(max_size=300_000))
def test_anything_comes_back_whole(request: bytes) -> None:
    """Whatever the size, also across the format's blocks of 64 KiB."""
    assert bytes(cramjam.snappy.decompress_raw(compressed(request))) == request


def test_labels_are_sorted_and_never_empty() -> None:
    """Remote write 1.0: sorted by name, unique, neither name nor value empty, `__name__` among them."""
    assert labels("m", {"uplink": "fibre", "domain": "", "site": "a"}) == (
        ("__name__", "m"), ("site", "a"), ("uplink", "fibre"),
    )  # fmt: skip


def test_points_of_a_series_are_in_order_and_one_an_instant() -> None:
    """Remote write 1.0: samples of one series in time order; what came twice in an instant is added up."""
    assert in_order([(UP, 2, 1.0), (UP, 1, 5.0), (UP, 2, 1.0)]) == {UP: [(1, 5.0), (2, 2.0)]}
