"""Time and chance in one place, so that a test can put its own in."""

import asyncio
import random
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Clock:
    """Where seconds, dates, sleep and random draws come from."""

    monotonic: Callable[[], float] = time.monotonic
    wall: Callable[[], float] = time.time
    uniform: Callable[[float, float], float] = random.uniform
    sleep: Callable[[float], None] = time.sleep
    sleep_async: Callable[[float], Awaitable[None]] = asyncio.sleep


SYSTEM = Clock()
