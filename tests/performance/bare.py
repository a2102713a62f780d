"""The least a Litestar handler can do with a question: decode it, return constant bytes."""

from typing import Any

import msgspec
from litestar import Litestar, Request, post
from litestar.datastructures import State

from loopmargin_wire.pump_head import PumpHeadQuestion


def bare_app(answer: bytes) -> Litestar:
    """Make the application that the service is compared with."""
    decoder = msgspec.json.Decoder(PumpHeadQuestion)

    @post("/bare", media_type="application/json", status_code=200)
    async def bare(request: Request[Any, Any, State]) -> bytes:
        decoder.decode(await request.body())
        return answer

    return Litestar([bare], openapi_config=None, logging_config=None)
