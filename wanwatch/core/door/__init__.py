"""Door: who may read what the web room shows. Rules and memory only: no sockets, no clock, no chance.

In:       what a request shows, instants (monotonic), random bytes, the lines of the files that hold hashes.
Out:      whether it may come in, how long it has to wait, the lines for the files.
Imports:  the standard library's hashes.
"""

from wanwatch.core.door.password import SHORTEST, Cost, Password, PasswordError, hashed
from wanwatch.core.door.rules import Keys, Ruling, Shown, Sort, is_from_elsewhere, rule, way_back
from wanwatch.core.door.sessions import ABSOLUTE_NS, IDLE_NS, Sessions
from wanwatch.core.door.tokens import TokenError, digest, read_tokens, token_line
from wanwatch.core.door.tries import Key, Limits, Tries, Why

__all__ = [
    "ABSOLUTE_NS",
    "IDLE_NS",
    "SHORTEST",
    "Cost",
    "Key",
    "Keys",
    "Limits",
    "Password",
    "PasswordError",
    "Ruling",
    "Sessions",
    "Shown",
    "Sort",
    "TokenError",
    "Tries",
    "Why",
    "digest",
    "hashed",
    "is_from_elsewhere",
    "read_tokens",
    "rule",
    "token_line",
    "way_back",
]
