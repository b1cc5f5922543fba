"""The error tree: each leaf is one fact that went wrong, with its status and its stable type.

Any room may raise these; they know no web. One handler in `graftbook.app` renders them as RFC 9457
problem documents. `pointer` is the JSON pointer (RFC 6901) of the field that is wrong: an error
with a pointer is the fault of the body sent (422), without one that of the address (404).
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from types import MappingProxyType
from typing import Any, ClassVar, Self

LONGEST_ECHO = 200


def printable(text: object) -> str:
    """What somebody sent, cut short and free of what cannot be written as UTF-8."""
    return str(text)[:LONGEST_ECHO].encode("utf-8", "replace").decode("utf-8")


def begun(sentence: str) -> str:
    """The sentence with a capital in front, but for one that begins with a field: `remedy_all: …`."""
    is_field = sentence.partition(" ")[0].endswith(":")
    return sentence if is_field else sentence[:1].upper() + sentence[1:]


class Problem(Exception):
    """Something went wrong that the asker can be told about.

    `type` is stable and part of the API; `fields` are further members of the problem document.
    """

    status: ClassVar[int] = 500
    type: ClassVar[str] = "/problems/internal"
    title: ClassVar[str] = "Something went wrong inside the service"
    headers: Mapping[str, str] = MappingProxyType({})

    def __init__(
        self, detail: str = "", *, pointer: str = "", near: Iterable[str] = (), **fields: Any
    ) -> None:
        super().__init__(detail or self.title)
        self.detail = (
            printable(detail) if len(detail) <= LONGEST_ECHO else detail.encode("utf-8", "replace").decode()
        )
        self.pointer = printable(pointer)
        self.near = tuple(near)
        self.fields = fields

    @property
    def answer_status(self) -> int:
        """The HTTP status of this very problem."""
        return self.status

    def kept(self) -> Self:
        """As a value: without the places where it came up, which hold whatever was looked at there."""
        self.__context__ = self.__cause__ = None
        return self.with_traceback(None)

    def document(self) -> dict[str, Any]:
        """The problem document's members (RFC 9457, section 3.1)."""
        members: dict[str, Any] = {"type": self.type, "title": self.title, "status": self.answer_status}
        if self.detail:
            members["detail"] = begun(self.detail)
        if self.pointer:
            members["pointer"] = self.pointer
        if self.near:
            members["near"] = list(self.near)
        return members | self.fields


@contextmanager
def pointing_at(pointer: str) -> Iterator[None]:
    """Problems raised inside are the fault of the field at this JSON pointer."""
    try:
        yield
    except Problem as problem:
        problem.pointer = pointer + problem.pointer
        raise


class Unknown(Problem):
    """A name that is not known, or not `among` what was looked at; `near` holds names like it."""

    status = 404
    type = "/problems/unknown-name"
    title = "There is no such name"
    what: ClassVar[str] = "name"
    OF_VARIANT: ClassVar[str] = " for this variant"

    def __init__(
        self, name: str, near: Iterable[str] = (), *, pointer: str = "", detail: str = "", among: str = ""
    ) -> None:
        near = tuple(near)[:5]
        hint = f"; did you mean {' or '.join(near[:3])}?" if near else ""
        message = detail or f"There is no {self.what} '{printable(name)}'{among}{hint}"
        super().__init__(message, pointer=pointer, near=near, name=printable(name))
        self.name = name

    @property
    def answer_status(self) -> int:
        return 422 if self.pointer else 404


class UnknownComponent(Unknown):
    type = "/problems/unknown-component"
    title = "There is no such component"
    what = "component"


class UnknownVariant(Unknown):
    type = "/problems/unknown-variant"
    title = "There is no such variant"
    what = "variant"


class UnknownRange(Unknown):
    type = "/problems/unknown-range"
    title = "There is no such range"
    what = "range"


class UnknownChassis(Unknown):
    type = "/problems/unknown-chassis"
    title = "No vehicle has this chassis number"
    what = "vehicle with the chassis number"


class UnknownPosition(Unknown):
    type = "/problems/unknown-position"
    title = "There is no such position"
    what = "position"


class UnknownSection(Unknown):
    type = "/problems/unknown-section"
    title = "There is no such section"
    what = "section"


class UnknownFlaw(Unknown):
    type = "/problems/unknown-flaw"
    title = "There is no such known flaw"
    what = "known flaw"


class UnknownUpgrade(Unknown):
    type = "/problems/unknown-upgrade"
    title = "There is no such upgrade for this variant"
    what = "upgrade"


class UnknownOption(Unknown):
    type = "/problems/unknown-option"
    title = "The variant has no such option"
    what = "option"


class UnknownCharacteristic(Unknown):
    type = "/problems/unknown-characteristic"
    title = "There is no such kind of characteristic"
    what = "kind of characteristic"


class UnknownBuild(Unknown):
    type = "/problems/unknown-build"
    title = "There is no such build"
    what = "build"


class UnknownSpecification(Unknown):
    type = "/problems/unknown-specification"
    title = "There is no such specification"
    what = "specification"


class UnknownOrderList(Unknown):
    type = "/problems/unknown-order-list"
    title = "There is no such order list"
    what = "order list"


class UnknownBooking(Unknown):
    type = "/problems/unknown-booking"
    title = "The order list has no such booking"
    what = "booking"


class NotInStore(Unknown):
    type = "/problems/not-in-store"
    title = "The store has no place for this number"
    what = "place in the store for"


class WrongState(Problem):
    """The order list is in a state that does not take this step; `state` says which."""

    status = 409
    type = "/problems/wrong-state"
    title = "The order list does not take this step now"


class DeliveryDoubted(Problem):
    """A delivery that should be looked at before it is booked; nothing was booked.

    `doubts` say of what and why, each with its `kind`, a pointer, figures and a sentence; `accept` are the
    words that book it all the same.
    """

    status = 409
    type = "/problems/delivery-doubted"
    title = "Look at this delivery again; nothing is booked yet"

    def __init__(self, doubts: Sequence[Mapping[str, Any]] = (), accept: Iterable[str] = ()) -> None:
        sentences = " ".join(doubt["sentence"] for doubt in doubts[:3])
        more = f" (and {len(doubts) - 3} more)" if len(doubts) > 3 else ""
        super().__init__(sentences + more, doubts=list(doubts), accept=list(accept))


class BookingTakenBack(Problem):
    """The booking was taken back already; `at` and `who` say when and by whom."""

    status = 409
    type = "/problems/booking-taken-back"
    title = "The booking was taken back already"


class StoreChanged(Problem):
    """The store no longer holds what the list takes from it; `lacking` says what."""

    status = 409
    type = "/problems/store-changed"
    title = "The store no longer holds what the list takes"


class Incomplete(Problem):
    """Lines of the order list are not bought, and it was not said that it goes out without them."""

    status = 409
    type = "/problems/incomplete"
    title = "The order list is not complete"


class SubstituteRefused(Problem):
    """The closure does not accept the substitute as it stands; `sentences` say what it would change."""

    status = 409
    type = "/problems/substitute-refused"
    title = "The closure does not accept this substitute"


class UnknownRecord(Unknown):
    type = "/problems/unknown-record"
    title = "There is no such record"
    what = "record"


class UnknownRevision(Unknown):
    type = "/problems/unknown-revision"
    title = "The catalogue has no such revision"
    what = "revision"


class TooFarBack(Problem):
    """The catalogue cannot be seen as it was then. `first` is the earliest revision that can."""

    status = 422
    type = "/problems/too-far-back"
    title = "The catalogue cannot be seen as of that revision"


class ChangedAgain(Problem):
    """A later edit changed what is to be taken back; `records` names what."""

    status = 409
    type = "/problems/changed-again"
    title = "A later edit changed the same records"


class NotAsShown(Problem):
    """A whole load would take away other records than the preview showed; `removes` is how many."""

    status = 409
    type = "/problems/not-as-shown"
    title = "Other records would go than were shown"


class NothingHere(Problem):
    status = 404
    type = "/problems/nothing-here"
    title = "There is nothing at this address"


class MethodNotAllowed(Problem):
    status = 405
    type = "/problems/method-not-allowed"
    title = "This address does not take this method"


class InvalidRequest(Problem):
    """Fields that are wrong, each with pointer and what to do; `errors` lists all of them."""

    status = 422
    type = "/problems/invalid-request"
    title = "The request has mistakes"


class MalformedRequest(Problem):
    status = 400
    type = "/problems/malformed-request"
    title = "The body cannot be read"


class InvalidCursor(Problem):
    status = 400
    type = "/problems/invalid-cursor"
    title = "This cursor was not given out by this search"


class VehicleMismatch(Problem):
    """The chassis number belongs to another variant than the one that was named."""

    status = 422
    type = "/problems/vehicle-mismatch"
    title = "Chassis number and variant do not belong together"


class ImportRefused(Problem):
    """A sheet with mistakes; nothing was stored. `mistakes` lists file, line, field and what to do."""

    status = 422
    type = "/problems/import-refused"
    title = "The sheet has mistakes; nothing was stored"


class AlreadyExists(Problem):
    status = 409
    type = "/problems/already-exists"
    title = "This name is taken"


class KeyUsedOtherwise(Problem):
    """An Idempotency-Key that stands for another request already."""

    status = 422
    type = "/problems/idempotency-key-used"
    title = "This Idempotency-Key stands for another request"


class StillAtWork(Problem):
    """The same request, under the same Idempotency-Key, has not ended yet."""

    status = 409
    type = "/problems/still-at-work"
    title = "The same request is still at work"
    headers: Mapping[str, str] = MappingProxyType({"Retry-After": "2"})


class PreconditionFailed(Problem):
    status = 412
    type = "/problems/changed-meanwhile"
    title = "It was changed since you read it"


class PreconditionRequired(Problem):
    status = 428
    type = "/problems/if-match-needed"
    title = "A change needs If-Match with the ETag that you read"


class NotAcceptable(Problem):
    status = 406
    type = "/problems/not-acceptable"
    title = "None of the forms you accept can be given"


class TooLarge(Problem):
    status = 413
    type = "/problems/too-large"
    title = "The request is larger than the service takes"


class BodyTooSlow(Problem):
    status = 408
    type = "/problems/body-too-slow"
    title = "The body did not come in time"
    headers: Mapping[str, str] = MappingProxyType({"Connection": "close"})


class AddressTooLong(Problem):
    status = 414
    type = "/problems/address-too-long"
    title = "The address is longer than the service takes"


class HeadersTooLarge(Problem):
    status = 431
    type = "/problems/headers-too-large"
    title = "The headers are larger than the service takes"


class UnsupportedMedia(Problem):
    status = 415
    type = "/problems/unsupported-media"
    title = "This kind of content is not understood here"


class UnknownKey(Unknown):
    type = "/problems/unknown-key"
    title = "There is no such key"
    what = "key"


class KeyNeeded(Problem):
    """No key, or none that is usable: not told apart, so that nobody learns which keys exist."""

    status = 401
    type = "/problems/key-needed"
    title = "A usable key is needed"
    headers: Mapping[str, str] = MappingProxyType({"WWW-Authenticate": 'Bearer realm="graftbook"'})


class ScopeNeeded(Problem):
    """The key is usable, but may not do this; `scope` is the least that may."""

    status = 403
    type = "/problems/scope-needed"
    title = "This key may not do that"


class ForgedRequest(Problem):
    """A change that a page of another site, or none of ours, sent with a browser's cookie."""

    status = 403
    type = "/problems/forged-request"
    title = "The request did not come from a page of this service"


class ForeignName(Problem):
    """A page that reaches this machine through a name of its own would read what it must not."""

    status = 421
    type = "/problems/foreign-name"
    title = "The service does not answer under this name"


class SlowDown(Problem):
    """Too many attempts with wrong keys."""

    status = 429
    type = "/problems/too-many-attempts"
    title = "Too many attempts with keys that are not usable"

    def __init__(self, seconds: int) -> None:
        super().__init__(f"Wait {seconds} s, then send the right key", retry_after=seconds)
        self.headers = {"Retry-After": str(seconds)}


class Unavailable(Problem):
    status = 503
    type = "/problems/unavailable"
    title = "The service cannot answer now"
    headers: Mapping[str, str] = MappingProxyType({"Retry-After": "5"})


class Busy(Problem):
    """The process does as much at once as it may; what is asked was not begun."""

    status = 503
    type = "/problems/busy"
    title = "Too much is asked at once"
    headers: Mapping[str, str] = MappingProxyType({"Retry-After": "5"})

    def __init__(self, what: str) -> None:
        super().__init__(f"As many {what} are at work here as may be; nothing was done; ask again in 5 s")


class TooEntangled(Problem):
    """What is asked hangs together with more of the catalogue than can be reasoned over."""

    status = 422
    type = "/problems/too-entangled"
    title = "This hangs together with too much to be reasoned over"


class CatalogueMoved(Unavailable):
    """An edit came between two reads of one question; asked again it is answered of one revision."""

    type = "/problems/catalogue-moved"
    title = "The catalogue was edited while this was looked up; ask again"
    headers: Mapping[str, str] = MappingProxyType({"Retry-After": "1"})


class NoSet(Problem):
    """There is no set to order: the question has no answer."""

    status = 409
    type = "/problems/no-set"
    title = "There is no set to order from"
