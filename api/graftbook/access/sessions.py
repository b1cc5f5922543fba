"""Page sessions: a browser signs in with a key and carries a random cookie instead of it.

The database keeps the cookie's digest and the key it belongs to, so that revoking the key ends it at
once. A session ends twelve hours after it was last used, and after a week in any case.
"""

import hmac
import secrets
from dataclasses import dataclass, field
from datetime import timedelta
from hashlib import sha256

from sqlalchemy import Engine

from graftbook.access import store
from graftbook.access.authenticator import Authenticator, earliest
from graftbook.access.keys import digest_of
from graftbook.access.principal import Caller, Principal
from graftbook.access.service import moment, usable
from graftbook.access.tables import PageSessionRow
from graftbook.database import reading, writing
from graftbook.problems import ForgedRequest
from graftbook.process.commits import CommitMark

IDLE, LONGEST = timedelta(hours=12), timedelta(days=7)
SEEN_WRITTEN_EVERY = timedelta(minutes=5)
COOKIE = "graftbook_session"
_NAMED = f"{COOKIE}=".encode()
FORM_FIELD, FORM_HEADER = "form_token", "X-Form-Token"


@dataclass(frozen=True, slots=True)
class PageSession:
    """A browser that signed in. `secret` is its cookie's value."""

    secret: str = field(repr=False)
    principal: Principal


def begin(engine: Engine, principal: Principal, caller: Caller) -> PageSession:
    """A session for the key that was let in."""
    secret, now = secrets.token_urlsafe(32), moment()
    with writing(engine) as session:
        store.drop_idle_sessions(session, now - IDLE)
        session.add(PageSessionRow(digest=digest_of(secret), key=principal.key, begun=now, seen=now))
        session.add(caller.event(now, "signed in to the pages", "done"))
    return PageSession(secret, principal)


def open_session(authenticator: Authenticator, secret: str) -> PageSession | None:
    """The session of a cookie; None when it is none, has ended, or its key is not usable."""
    now, digest, mark = moment(), digest_of(secret), authenticator.principals.mark()
    with reading(authenticator.engine) as session:
        found = store.page_session(session, digest)
    if found is None:
        return None
    key, begun, seen = found
    if not usable(key, now) or now - seen >= IDLE or now - begun >= LONGEST:
        return None
    if now - seen >= SEEN_WRITTEN_EVERY:
        authenticator.write_behind(f"seen {digest}", lambda session: store.mark_seen(session, digest, now))
        seen = now
    principal = Principal.of(key, by_cookie=True)
    authenticator.principals.note(
        digest, principal, mark, earliest(seen + SEEN_WRITTEN_EVERY, begun + LONGEST, key.expires)
    )
    return PageSession(secret, principal)


def known_by_cookie(authenticator: Authenticator, cookies: bytes, now: CommitMark | None) -> Principal | None:
    """Whose session it is by the cookies that came, unless the database must be asked."""
    sent = [cookie for cookie in map(bytes.strip, cookies.split(b";")) if cookie.startswith(_NAMED)]
    if len(sent) != 1:
        return None
    return authenticator.principals.get(sha256(sent[0].removeprefix(_NAMED)).hexdigest(), now, by_cookie=True)


def end(engine: Engine, page_session: PageSession, caller: Caller) -> None:
    """Sign out: the cookie opens nothing any more."""
    with writing(engine) as session:
        store.end_page_session(session, digest_of(page_session.secret))
        session.add(caller.event(moment(), "signed out of the pages", "done"))


def form_token(page_session: PageSession) -> str:
    """What every form of this session carries in its field `form_token`; another site cannot know it."""
    return hmac.new(page_session.secret.encode(), b"graftbook form", sha256).hexdigest()


def require_form_token(page_session: PageSession, token: str) -> None:
    """Raises ForgedRequest unless the token is this session's."""
    if not hmac.compare_digest(form_token(page_session).encode(), token.encode("utf-8", "replace")):
        raise ForgedRequest(
            "The page is from before you signed in, or not ours; open it again and send it once more"
        )


def require_same_site(fetch_site: str, origin: str, host: str, *, told: bool) -> None:
    """Raises ForgedRequest unless the browser says that one of our own pages sent the request.

    `fetch_site` is Sec-Fetch-Site (W3C Fetch Metadata), which pages cannot write; older browsers
    send Origin (RFC 6454), compared with `host`. With `told` false, silence is let pass.
    """
    if fetch_site:
        own = fetch_site == "same-origin"
    elif origin:
        own = origin.partition("://")[2].lower() == host.lower()
    else:
        own = not told
    if not own:
        raise ForgedRequest("Send it from a page of this service")
