"""The listener of /metrics: a port of its own, so that the public one never serves it."""

from collections.abc import Iterator
from contextlib import contextmanager

from prometheus_client import CollectorRegistry, start_http_server

from loopmargin_service.http.settings import CannotServeError, Settings


@contextmanager
def metrics_served(settings: Settings, registry: CollectorRegistry) -> Iterator[str]:
    """Serve the meters on a thread of their own within a block, if a port is set; give where."""
    if settings.metrics_port < 0:
        yield ""
        return
    try:
        server, thread = start_http_server(settings.metrics_port, settings.host, registry)
    except OSError as error:
        raise CannotServeError(
            f"LOOPMARGIN_METRICS_PORT is {settings.metrics_port}: cannot listen there "
            f"({error.strerror}); choose another port."
        ) from error
    host = f"[{settings.host}]" if ":" in settings.host else settings.host
    try:
        yield f"http://{host}:{server.server_port}/metrics"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
