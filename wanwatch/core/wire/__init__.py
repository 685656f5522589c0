"""Wire: packets to values and back.

In:       bytes from a socket, or the values of a packet to be sent.
Out:      bytes, or a frozen value, or the codec's own malformed result; never an exception for a bad packet.
Imports:  the pure parts of the standard library.
"""
