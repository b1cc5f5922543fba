"""The tree of problems, read whole."""

from graftbook.problems import Problem


def leaves(root: type[Problem] = Problem) -> list[type[Problem]]:
    """Every kind of problem, in the order of their types."""
    found = [root, *(leaf for child in root.__subclasses__() for leaf in leaves(child))]
    return sorted(set(found), key=lambda leaf: leaf.type)
