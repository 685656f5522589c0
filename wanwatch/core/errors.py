"""The root of the program's own errors."""


class WanwatchError(Exception):
    """Something that a person has to mend; its text names the thing, the value, the reason and the mend.

    Network trouble never raises it: that is data.
    """
