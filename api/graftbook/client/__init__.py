"""A client of the service for Python programs, blocking and asynchronous.

    from graftbook.client import Client

    with Client("http://127.0.0.1:8000", key="graftbook_…") as shop:
        answer = shop.closure("24PL-018412", wishes=[{"fit": "QB-3310"}])
        for flaw in shop.flaws(at_least="severe"):
            print(flaw["symptom"])

Documents are the plain dicts that the service sends, typed as the service types them; of the service itself
nothing is loaded. What goes wrong is a `ProblemAnswer` or `Unreachable`.
"""

from graftbook.client.asynchronous import AsyncClient
from graftbook.client.blocking import Client
from graftbook.client.problems import ProblemAnswer, Unreachable

__all__ = ["AsyncClient", "Client", "ProblemAnswer", "Unreachable"]
