"""What can go wrong with proposals."""

from graftbook.problems import Problem, Unknown


class UnknownProposal(Unknown):
    type = "/problems/unknown-proposal"
    title = "There is no such proposal"
    what = "proposal"


class AlreadyDecided(Problem):
    """A proposal was accepted, refused or withdrawn already."""

    status = 409
    type = "/problems/already-decided"
    title = "The proposal is decided already"


class OwnProposal(Problem):
    """One's own proposal is for others to decide, and another's is not one's own to withdraw."""

    status = 403
    type = "/problems/own-proposal"
    title = "This proposal is for somebody else"


class ReviewNeeded(Problem):
    """The house takes changes into the catalogue only as accepted proposals."""

    status = 403
    type = "/problems/review-needed"
    title = "The house reviews changes of the catalogue"
