"""Letters: notices in words for people, and as JSON for machines.

In:       notices, the cases that they tell of, what the configuration says of the office and its providers.
Out:      letters: a subject, plain text, facts; nothing in them can be taken for anything but text.
Imports:  wanwatch.core, wanwatch.config, wanwatch.publish's incidents and words. Nothing is sent or kept here.
"""

from wanwatch.publish.letters.facts import FIELDS
from wanwatch.publish.letters.office import Office, office_of
from wanwatch.publish.letters.writing import write

__all__ = ["FIELDS", "Office", "office_of", "write"]
