"""The only place that knows Litestar, Redis and headers."""
