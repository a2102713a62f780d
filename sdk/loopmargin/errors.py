"""What can go wrong, as one tree.

    LoopmarginError           root of every error raised here: .request_id .attempts
    ├─ NoAnswer               nothing usable came back: .cause .status
    │  ├─ TimedOut            no answer within the time allowed
    │  └─ NotUnderstood       a success that does not decode, an error that is no problem document
    └─ Refused                the service answered with a problem: .problem .status .retry_after_s
       ├─ InvalidQuestion     the question has to change (400, 413, 415, 422)
       ├─ KeyRefused          no key, a wrong one or one that has run out (401, 403)
       ├─ HeadTooLong         the header fields or the path are too long (414, 431)
       ├─ TooSlow             the request came too slowly (408)
       ├─ OverQuota           too much work is asked for, for now (429)
       └─ Unavailable         the service cannot answer now (5xx)

The text of an error begins with the request id when there is one, so that a line of a
log can be matched with the service's own. An exception of the HTTP library appears only
as `__cause__`. Every error survives pickling.
"""

from loopmargin_wire.problem import Problem

SHOWN_FIELDS = 5


class LoopmarginError(Exception):
    """Root of every error raised by this package."""

    def __init__(self, said: object, *, request_id: str = "", attempts: int = 0) -> None:
        super().__init__(said)
        self.request_id = request_id
        self.attempts = attempts

    def __str__(self) -> str:
        """Put the request id before the sentence."""
        return f"{self.request_id}: {self._sentence()}" if self.request_id else self._sentence()

    def _sentence(self) -> str:
        return super().__str__()


class NoAnswer(LoopmarginError):  # noqa: N818 - the name says what happened
    """Nothing usable came back: no connection, a broken one, or a body that makes no sense."""

    def __init__(
        self, said: object, *, status: int | None = None, request_id: str = "", attempts: int = 0
    ) -> None:
        super().__init__(said, request_id=request_id, attempts=attempts)
        self.status = status

    @property
    def cause(self) -> BaseException | None:
        """The exception of the HTTP library or of the decoder behind this one."""
        return self.__cause__


class TimedOut(NoAnswer):
    """No answer within `timeout` on the last attempt, or within `deadline` in all."""


class NotUnderstood(NoAnswer):
    """Something answered, but neither with an answer nor with a problem document."""


class Refused(LoopmarginError):  # noqa: N818 - the name says what happened
    """The service answered with a problem document."""

    def __init__(
        self,
        problem: Problem,
        *,
        status: int | None = None,
        retry_after_s: float | None = None,
        request_id: str = "",
        attempts: int = 0,
    ) -> None:
        super().__init__(problem, request_id=request_id, attempts=attempts)
        self.problem = problem
        self.status = problem.status if status is None else status
        self.retry_after_s = retry_after_s

    def _sentence(self) -> str:
        said = [f"{self.status} {self.problem.title}", self.problem.detail]
        said += [f"{error.pointer}: {error.detail}" for error in self.problem.errors[:SHOWN_FIELDS]]
        if len(self.problem.errors) > SHOWN_FIELDS:
            said.append(f"{len(self.problem.errors) - SHOWN_FIELDS} more fields are at fault")
        if self.retry_after_s is not None:
            said.append(f"Ask again after {self.retry_after_s:g} s")
        return " ".join(f"{sentence.strip().rstrip('.')}." for sentence in said if sentence)


class InvalidQuestion(Refused):
    """The question has to change; `.problem.errors` points at the fields.

    Raised before anything is sent when the question breaks the wire contract; the
    request id is empty then.
    """


class KeyRefused(Refused):
    """The service wants a key that holds: give `api_key` or set LOOPMARGIN_API_KEY."""


class HeadTooLong(Refused):
    """The header fields or the path are too long; look at what `headers` adds."""


class TooSlow(Refused):
    """The request came too slowly for the service, also when it was tried again."""


class OverQuota(Refused):
    """Too much work is asked for, for now; `.retry_after_s` says when to ask again."""


class Unavailable(Refused):
    """The service cannot answer now, or failed on this question."""


BY_STATUS = {
    400: InvalidQuestion,
    401: KeyRefused,
    403: KeyRefused,
    408: TooSlow,
    413: InvalidQuestion,
    414: HeadTooLong,
    415: InvalidQuestion,
    422: InvalidQuestion,
    429: OverQuota,
    431: HeadTooLong,
}
FIRST_SERVER_ERROR = 500


def refusal_class(status: int) -> type[Refused]:
    """Class of the refusal that a status stands for."""
    if status >= FIRST_SERVER_ERROR:
        return Unavailable
    return BY_STATUS.get(status, Refused)
