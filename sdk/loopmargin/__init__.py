"""Thin client of the loopmargin service: asks sizing questions, gets answers with margins."""

from loopmargin.async_client import AsyncClient
from loopmargin.client import Client
from loopmargin.clock import Clock
from loopmargin.errors import (
    HeadTooLong,
    InvalidQuestion,
    KeyRefused,
    LoopmarginError,
    NoAnswer,
    NotUnderstood,
    OverQuota,
    Refused,
    TimedOut,
    TooSlow,
    Unavailable,
)
from loopmargin.message import Reply
from loopmargin.release import __version__
from loopmargin.retry import RetryBudget
from loopmargin.routes import (
    NOISE,
    PUMP_HEAD,
    RADIATOR_AREA,
    SOLVE_FOR,
    STEADY_STATE,
    SUPPLY_HEADROOM,
    SWEEP,
    WARM_UP,
    Route,
)
from loopmargin.table import margins_table

__all__ = [
    "NOISE",
    "PUMP_HEAD",
    "RADIATOR_AREA",
    "SOLVE_FOR",
    "STEADY_STATE",
    "SUPPLY_HEADROOM",
    "SWEEP",
    "WARM_UP",
    "AsyncClient",
    "Client",
    "Clock",
    "HeadTooLong",
    "InvalidQuestion",
    "KeyRefused",
    "LoopmarginError",
    "NoAnswer",
    "NotUnderstood",
    "OverQuota",
    "Refused",
    "Reply",
    "RetryBudget",
    "Route",
    "TimedOut",
    "TooSlow",
    "Unavailable",
    "__version__",
    "margins_table",
]
