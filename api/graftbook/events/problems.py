"""What can go wrong with events and webhooks."""

from graftbook.problems import Problem, Unknown


class OtherHistory(Problem):
    """The cursor counts in another history of the database: it was restored since."""

    status = 410
    type = "/problems/other-history"
    title = "The database was restored since this cursor was given; its history is another one"


class EventsForgotten(Problem):
    """Events behind the cursor are kept no more."""

    status = 410
    type = "/problems/events-forgotten"
    title = "Events since this cursor are kept no more"


class SecretStillSigns(Problem):
    """Another secret would end one that was promised to sign on; `old_secret_until` says until when."""

    status = 409
    type = "/problems/secret-still-signs"
    title = "The secret before this one still signs; another one would end it at once"


class UnknownWebhook(Unknown):
    type = "/problems/unknown-webhook"
    title = "There is no such webhook"
    what = "webhook"
