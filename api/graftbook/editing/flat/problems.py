"""What can go wrong with flat lists alone."""

from graftbook.problems import InvalidRequest, Unknown


class UnknownFlatList(Unknown):
    type = "/problems/unknown-flat-list"
    title = "There is no such flat list"
    what = "flat list"


class WrongName(InvalidRequest):
    """A name that a new list cannot have."""

    type = "/problems/wrong-name"
    title = "A new list cannot have this name"
