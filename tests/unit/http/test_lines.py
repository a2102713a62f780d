"""Lines are written whole and in order, and nobody waits for whoever reads them."""

import os
import threading
import time

from loopmargin_service.http.lines import LineWriter

WAIT_S = 20.0


def read_all(descriptor: int) -> bytes:
    """Read until the other end is closed."""
    text = b""
    while chunk := os.read(descriptor, 65536):
        text += chunk
    return text


def test_lines_come_out_in_order() -> None:
    """All of them, the last ones on closing."""
    reading, writing = os.pipe()
    writer = LineWriter(writing)
    for number in range(1000):
        writer.write(b"%d\n" % number)
    writer.close()
    os.close(writing)

    assert read_all(reading).split() == [b"%d" % number for number in range(1000)]
    assert writer.dropped == 0
    os.close(reading)


def test_a_line_comes_out_without_waiting_for_the_next() -> None:
    """Nothing is kept back until there is more of it."""
    reading, writing = os.pipe()
    writer = LineWriter(writing)
    writer.write(b"alone\n")

    assert os.read(reading, 100) == b"alone\n"
    writer.close()
    os.close(reading)
    os.close(writing)


def test_a_reader_that_does_not_read_costs_lines_and_no_time() -> None:
    """What does not fit is dropped and counted; the rest is there once it reads."""
    reading, writing = os.pipe()
    writer = LineWriter(writing, most_waiting=100)
    line = b"x" * 9_999 + b"\n"
    for _ in range(1000):
        writer.write(line)
    assert writer.dropped > 500

    text: list[bytes] = []
    reader = threading.Thread(target=lambda: text.append(read_all(reading)))
    reader.start()
    until_written(writer)
    writer.close()
    os.close(writing)
    reader.join(WAIT_S)

    assert len(text[0]) == (1000 - writer.dropped) * len(line)
    os.close(reading)


def until_written(writer: LineWriter) -> None:
    """Wait until nothing is left to be written."""
    end = time.monotonic() + WAIT_S
    while writer.waiting and time.monotonic() < end:
        time.sleep(0.02)


def test_a_reader_that_is_gone_is_no_failure() -> None:
    """Its lines are counted as dropped."""
    reading, writing = os.pipe()
    os.close(reading)
    writer = LineWriter(writing)
    writer.write(b"unheard\n")
    writer.close()
    os.close(writing)

    assert writer.dropped == 1
