"""Each step on a blocking socket gets what is left of its attempt."""

import ssl

import httpcore
import pytest

from loopmargin.socket_deadline import DeadlineStream, attempt_of, left

NO_TLS = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)


class Recorder(httpcore.NetworkStream):
    """A connection that only writes down the limits that it is given."""

    def __init__(self) -> None:
        self.limits: list[float | None] = []

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        """Read nothing."""
        self.limits.append(timeout)
        return b""[:max_bytes]

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        """Write nothing."""
        self.limits.append(timeout if buffer else None)

    def start_tls(
        self,
        ssl_context: ssl.SSLContext,
        server_hostname: str | None = None,
        timeout: float | None = None,
    ) -> httpcore.NetworkStream:
        """Stay as it is."""
        assert (ssl_context, server_hostname) == (NO_TLS, "host")
        self.limits.append(timeout)
        return self


def use(stream: httpcore.NetworkStream, timeout: float | None) -> httpcore.NetworkStream:
    """Do every kind of step once."""
    encrypted = stream.start_tls(NO_TLS, "host", timeout)
    encrypted.write(b"x", timeout)
    encrypted.read(1, timeout)
    return encrypted


@pytest.mark.parametrize("timeout", [None, 30.0])
def test_steps_get_no_more_than_is_left(timeout: float | None) -> None:
    """Encryption, writing and reading are all limited by the attempt."""
    recorder = Recorder()

    with attempt_of(5.0):
        use(DeadlineStream(recorder), timeout)

    assert len(recorder.limits) == 3
    assert all(limit is not None and 4.0 < limit <= 5.0 for limit in recorder.limits)


def test_shorter_limit_of_a_step_stays() -> None:
    """A connection attempt of two seconds does not get thirty."""
    recorder = Recorder()

    with attempt_of(5.0):
        use(DeadlineStream(recorder), 2.0)

    assert recorder.limits == [2.0, 2.0, 2.0]


def test_encrypted_connection_is_limited_too() -> None:
    """What comes out of the handshake is the same kind of connection."""
    assert isinstance(use(DeadlineStream(Recorder()), 1.0), DeadlineStream)


@pytest.mark.parametrize("late", [httpcore.ReadTimeout, httpcore.WriteTimeout])
def test_no_step_is_begun_after_the_end(late: type[Exception]) -> None:
    """When the attempt is over the step is not tried at all."""
    with attempt_of(0.0), pytest.raises(late, match="over"):
        left(30.0, late)


def test_outside_an_attempt_nothing_is_limited() -> None:
    """The end of an attempt does not linger in the thread."""
    with attempt_of(5.0):
        pass

    assert left(None, httpcore.ReadTimeout) is None
    assert left(7.0, httpcore.ReadTimeout) == 7.0
